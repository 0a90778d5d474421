"""The shipped type, for browsers."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import FileResponse, Response

from measure.typeface import STYLES, face
from measure.web.shop import NotHereError

KEPT = {"cache-control": "max-age=604800"}
"""A week, so that no page waits for its type; type changes only with a version."""


async def font(request: Request) -> Response:
    """One style as WOFF2; a name that is none is no path. Raises NotHereError."""
    style = request.path_params["style"]
    if style not in STYLES:
        raise NotHereError(f'no font "{style}"')
    return FileResponse(face(style, "woff2"), media_type="font/woff2", headers=KEPT)
