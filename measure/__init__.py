"""plumbsquare: from readings taken at a car to a verdict on its body."""

__version__ = "0.2.0"
