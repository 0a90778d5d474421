"""What makes a reading trustworthy: tapes checked, cameras calibrated, targets and boards printed in true scale."""
