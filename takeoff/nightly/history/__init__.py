"""The history: what was measured when, in SQLite or PostgreSQL."""
