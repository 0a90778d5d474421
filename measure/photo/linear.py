"""From encoded grey values to light: a black and white edge is symmetric in light alone.

A camera's tone curve lifts the dark half of every blurred edge, which moves it into the black by half a pixel.
Curve: IEC 61966-2-1 (sRGB), from memory; cameras depart from it a little, which moves edges but no centres.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_ENCODED = np.arange(256) / 255.0
LIGHT = np.where(_ENCODED <= 0.04045, _ENCODED / 12.92, ((_ENCODED + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""Light (256,), 0 to 1, of an encoded grey value."""


def light(values: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Light of encoded grey values, any shape."""
    return LIGHT[values]
