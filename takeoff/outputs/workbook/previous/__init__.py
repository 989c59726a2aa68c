"""An earlier bill read back: its items, and everything that a person typed into it since it was written."""
