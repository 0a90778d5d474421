"""The page at the car: the same files and the same solver as the commands, in a browser."""
