"""Points -> car: centreline, pairs, rails, axle, twist; one file for each family of checks."""
