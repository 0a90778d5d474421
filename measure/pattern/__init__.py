"""What moved: the deviations of a car explained by the fewest moved parts, and what must come back."""
