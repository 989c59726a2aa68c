"""What is to be done with each model tonight: measured and why, left alone, waited for, renamed, removed."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from msgspec import Struct

from takeoff.nightly.folder import FoundFile, Listing, stat_again
from takeoff.nightly.history.known import KnownFile, KnownModel
from takeoff.nightly.models import Model
from takeoff.nightly.names import name_key, shown
from takeoff.nightly.stillness import Signature

Action = Literal["measure", "unchanged", "resting", "waiting", "unseen"]


class Decision(Struct, frozen=True):
    """What is to be done with a model that is there.

    `because` says why it is measured, or what is waited for. `digests` are the SHA-256 of its files in their
    order, empty texts while it waits. `renamed_from` is the known model whose content it has.
    """

    model: Model
    known: KnownModel | None
    action: Action
    because: str
    digests: tuple[str, ...]
    content: str
    renamed_from: KnownModel | None = None
    returned: bool = False


def content_key(digests: Sequence[str]) -> str:
    """Fingerprint of the content of files, whatever they are called and in whatever order."""
    return hashlib.sha256("\n".join(sorted(digests)).encode()).hexdigest()


def changed_files(
    found: Sequence[Model], known: Mapping[str, KnownModel], trust_times: bool
) -> tuple[list[FoundFile], dict[str, Signature]]:
    """Files that are new or differ from what was last seen, and the signatures seen while a file waited."""
    changed: list[FoundFile] = []
    waited: dict[str, Signature] = {}
    for model in found:
        before = known[model.key].files if model.key in known else {}
        for file in model.files:
            old = before.get(name_key("path", file.path))
            if old is None or old.signature != file.signature or not old.sha256 or not trust_times:
                changed.append(file)
            if old is not None and not old.sha256:
                waited[file.path] = old.signature
    return changed, waited


def decide(
    folder: Path,
    listing: Listing,
    found: Sequence[Model],
    known: Mapping[str, KnownModel],
    moving: Mapping[str, str],
    rules: str,
    trust_times: bool,
    now: datetime,
    longest: timedelta,
) -> list[Decision]:
    """A decision for each model found. `moving` are the paths that wait; `rules` the key of tonight's rules.

    `longest` is the longest pause before a failing model is tried again.
    """
    gone = {key: model for key, model in known.items() if key not in {m.key for m in found}}
    by_content: dict[str, list[KnownModel]] = {}
    for missing in sorted(gone.values(), key=lambda one: (one.removed, one.number)):
        if missing.content:
            by_content.setdefault(missing.content, []).append(missing)
    decisions = []
    for model in found:
        old = known.get(model.key)
        if old is not None and any(listing.hides(known_file.path) for known_file in old.files.values()):
            decisions.append(Decision(model, old, "unseen", "", tuple("" for _ in model.files), ""))
            continue
        reasons = [_of_file(model, file, moving[file.path]) for file in model.files if file.path in moving]
        digests: list[str] = []
        if not reasons:
            for file in model.files:
                digest, fault = _digest(folder, file, old.files if old else {}, trust_times)
                digests.append(digest)
                if fault:
                    reasons.append(_of_file(model, file, fault))
        if reasons:
            empty = tuple("" for _ in model.files)
            decisions.append(Decision(model, old, "waiting", "; ".join(reasons[:3]), empty, ""))
            continue
        content = content_key(digests)
        renamed = None
        if old is None and by_content.get(content):
            renamed = by_content[content].pop(0)
        action, because = _action(old or renamed, content, rules, now, longest)
        returned = old is not None and old.removed
        decisions.append(Decision(model, old, action, because, tuple(digests), content, renamed, returned))
    return decisions


def missing_models(
    known: Mapping[str, KnownModel], found: Sequence[Model], decisions: Sequence[Decision], listing: Listing
) -> list[KnownModel]:
    """Known models that are gone: not found, not renamed, not in a place that couldn't be looked into."""
    there = {model.key for model in found}
    there |= {decision.renamed_from.key for decision in decisions if decision.renamed_from}
    return [
        model
        for model in known.values()
        if model.key not in there
        and not model.removed
        and not any(listing.hides(file.path) for file in model.files.values())
    ]


def _action(
    old: KnownModel | None, content: str, rules: str, now: datetime, longest: timedelta
) -> tuple[Action, str]:
    if old is None or old.state == "new":
        return "measure", "new"
    if old.content != content:
        return "measure", "changed"
    if old.rules != rules:
        return "measure", "rules"
    if old.state != "failing":
        return ("unchanged", "") if old.kept else ("measure", "retry")
    if old.next_attempt is None or not now < old.next_attempt <= now + longest:
        return "measure", "retry"  # due, or put off by a clock that was wrong then
    return "resting", old.reason


def _of_file(model: Model, file: FoundFile, reason: str) -> str:
    """A reason, with the file that it is about where the model has several."""
    return f"{shown(file.path)}: {reason}" if model.together else reason


def _digest(
    folder: Path, file: FoundFile, before: Mapping[str, KnownFile], trust_times: bool
) -> tuple[str, str]:
    """The SHA-256 of a file, from what is known where its signature is; else a reason to wait."""
    old = before.get(name_key("path", file.path))
    if trust_times and old is not None and old.sha256 and old.signature == file.signature:
        return old.sha256, ""
    try:
        with (folder / file.path).open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as fault:
        return "", f"it cannot be read now ({(fault.strerror or 'unknown reason').lower()})"
    if stat_again(folder, file) != file.signature:
        return "", "it changed while it was being read"
    return digest, ""
