"""Findings as topics for the model's designer, in BCF."""
