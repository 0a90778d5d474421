"""What makes a reading trustworthy: the tape checked against known lengths."""
