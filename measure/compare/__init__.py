"""Two surveys of one car: what stood still, what moved, which way and how far."""
