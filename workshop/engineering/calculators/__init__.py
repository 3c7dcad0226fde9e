"""One file for each calculator: its function and its `CALCULATOR` (see `declare`)."""
