"""Remarks on what a look at the folder found: odd names, places that could not be seen, copies."""

from collections.abc import Sequence

from takeoff.nightly.decisions import Decision
from takeoff.nightly.folder import Listing
from takeoff.nightly.names import is_plain, shown


def remarks_on(listing: Listing, decisions: Sequence[Decision]) -> tuple[str, ...]:
    """All of them."""
    return (*listing.passed_over, *_names(decisions), *_unseen(listing), *_copies(decisions))


def _names(decisions: Sequence[Decision]) -> list[str]:
    return [
        f"{shown(file.path)}: its name holds characters that are shown escaped, or begins like a formula"
        for decision in decisions
        if decision.known is None
        for file in decision.model.files
        if not all(is_plain(step) for step in file.path.split("/"))
    ]


def _unseen(listing: Listing) -> list[str]:
    return [
        f"{shown(place)}: could not be looked into; its models are left as they are"
        for place in listing.unseen
    ]


def _copies(decisions: Sequence[Decision]) -> list[str]:
    """New or changed models whose content another model has too: the same concrete may be counted twice."""
    names: dict[str, list[str]] = {}
    for decision in decisions:
        if decision.content:
            names.setdefault(decision.content, []).append(decision.model.name)
    fresh = {d.content for d in decisions if d.action == "measure" and d.because in ("new", "changed")}
    return [
        f"{', '.join(own)}: have the same content; is one a copy of the other?"
        for content, own in names.items()
        if len(own) > 1 and content in fresh
    ]
