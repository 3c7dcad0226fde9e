"""One file for each effect of non-factory parts: its function and its `EFFECT` (see `effect`)."""
