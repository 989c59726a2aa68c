"""The report to a webhook: an HTTP POST of its JSON."""

import http.client
import urllib.error
import urllib.request
from typing import Any

from takeoff.findings import InputError
from takeoff.nightly.report import Report, json_text

SECONDS = 30


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect would carry the token elsewhere: it is told instead of followed."""

    def redirect_request(self, *arguments: Any) -> None:
        del arguments


def call_webhook(report: Report, url: str, token: str) -> None:
    """Post the report. Raises InputError saying what went wrong, with neither address nor token in it."""
    headers = {"Content-Type": "application/json", "User-Agent": "takeoff"}
    if token:
        if not token.isprintable() or not token.isascii():
            raise InputError("webhook: the token holds characters that no header can")
        headers["Authorization"] = f"Bearer {token}"
    try:
        request = urllib.request.Request(url, json_text(report).encode(), headers, method="POST")
        if request.type not in ("http", "https"):
            raise InputError("webhook: the address must begin with http:// or https://")
        with urllib.request.build_opener(_NoRedirect).open(request, timeout=SECONDS) as answer:
            answer.read(1024)
    except urllib.error.HTTPError as fault:
        raise InputError(f"webhook: it answered {fault.code}") from fault
    except (OSError, ValueError, http.client.HTTPException) as fault:
        reason = getattr(fault, "reason", fault)
        raise InputError(f"webhook: it could not be reached ({type(reason).__name__})") from fault
