"""What to do next on a car that stands: where to drill, how to set the axle. From points to plans."""
