"""Which files stand still, so that they can be measured, and which are still arriving."""

import re
import time
from collections.abc import Callable, Collection, Mapping
from pathlib import Path

from takeoff.nightly.folder import FoundFile, stat_again

Signature = tuple[int, int, int, int]

TAIL_BYTES = 1 << 16
_END = re.compile(rb"END-ISO-10303-21\s*;?")  # ISO 10303-21, the last line of an exchange structure
_XML_ROOT = re.compile(rb"<([^\s<>!?/]+)")
_XML_AFTER = rb"\s*>\s*(<!--[^<>]*-->\s*)*$"
_ZIP_END = b"PK\x05\x06"  # the end of central directory record of a zip
_ZIP_HEADS = (b"PK\x03\x04", _ZIP_END)


def moving_files(
    folder: Path,
    files: Collection[FoundFile],
    waited: Mapping[str, Signature],
    settle_seconds: float,
    now: float | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> dict[str, str]:
    """Paths of `files` that have to wait for a later pass, each with the reason.

    A file waits when something beside it says that it is open or arriving, when size or times move while it
    is watched for `settle_seconds` (only where it changed that recently by its times, or these lie in the
    future), and when its end is missing; the latter not if it stood like that in an earlier pass already
    (`waited`): then it is not arriving but broken, and measuring will say so.
    """
    now = time.time() if now is None else now
    reasons = {file.path: file.busy for file in files if file.busy}
    young = [
        file
        for file in files
        if not file.busy and now - max(file.mtime_ns, file.ctime_ns) / 1e9 < settle_seconds
    ]
    if young and settle_seconds > 0:
        sleep(settle_seconds)
    for file in young:
        if stat_again(folder, file) != file.signature:
            reasons[file.path] = "it is changing: still being written or copied"
    for file in files:
        if file.path in reasons or waited.get(file.path) == file.signature:
            continue
        fault = _end_fault(folder / file.path)
        if fault:
            reasons[file.path] = fault
    return reasons


def _end_fault(path: Path) -> str:
    """Why the file does not look complete; empty when it does, or is nothing that an end is known of."""
    try:
        with path.open("rb") as stream:
            head = stream.read(4096)
            size = stream.seek(0, 2)
            stream.seek(max(0, size - TAIL_BYTES))
            tail = stream.read(TAIL_BYTES)
    except OSError as fault:
        return f"it cannot be read now ({(fault.strerror or 'unknown reason').lower()})"
    if not head.strip(b"\0"):
        return "it is empty so far"
    if head.startswith(_ZIP_HEADS):
        return "" if _ZIP_END in tail else "the end of the zip is missing so far"
    if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:12].upper() == b"ISO-10303-21":
        return "" if _END.search(tail) else "its end is missing so far"
    if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:5].lower() == b"<?xml":
        root = _XML_ROOT.search(head)
        closed = root and re.search(b"</" + re.escape(root[1]) + _XML_AFTER, tail)
        return "" if closed else "its end is missing so far"
    return ""
