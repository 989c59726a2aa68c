"""Secrets of a run: from the environment only, never from files or arguments that others can read."""

import os

HISTORY = "TAKEOFF_HISTORY"
"""Database URL of the history, where it holds a password."""
MAIL_PASSWORD = "TAKEOFF_MAIL_PASSWORD"
WEBHOOK_URL = "TAKEOFF_WEBHOOK_URL"
"""Address of the webhook, where it is a secret itself."""
WEBHOOK_TOKEN = "TAKEOFF_WEBHOOK_TOKEN"

NAMES = (HISTORY, MAIL_PASSWORD, WEBHOOK_URL, WEBHOOK_TOKEN, "PGPASSWORD", "PGPASSFILE")
"""All of them, with those that PostgreSQL's client library reads by itself."""


def secret(name: str) -> str:
    """The value of a secret, empty when it is not set."""
    return os.environ.get(name, "")


def without_secrets() -> dict[str, str]:
    """The environment for a process that reads files from outside and needs no secret."""
    return {name: value for name, value in os.environ.items() if name not in NAMES}
