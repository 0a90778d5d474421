"""plumbsquare: from readings taken at a car to a verdict on its body."""

import os

__version__ = "0.3.0"

# A car is too small to share between cores: waiting for each other costs more than the sums, and one core adds up in
# the same order every time. Must be set before numpy loads; whoever sets it otherwise is heeded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
