"""What was worked out before, kept by the content of what it was worked out from."""
