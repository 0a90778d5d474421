"""Set before numpy loads: test processes that share cores must not each take all of them, as in `measure`."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
