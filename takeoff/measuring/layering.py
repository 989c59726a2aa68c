"""Layers that an element does not give itself, found at others of its type."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from msgspec.structs import replace

from takeoff.reading.facts import BuildUp, ElementFacts

_SAME = 1e-6  # metres within which two thicknesses are the same


def build_ups_by_type(elements: Iterable[ElementFacts]) -> Mapping[tuple[str, str], Sequence[BuildUp]]:
    """Different build-ups of two and more layers by (class, type name); nameless types are left out."""
    found: dict[tuple[str, str], list[BuildUp]] = defaultdict(list)
    for facts in elements:
        if facts.build_up is None or len(facts.build_up.layers) < 2 or not facts.type_name:
            continue
        known = found[facts.ifc_class, facts.type_name]
        if not any(_same_layers(facts.build_up, other) for other in known):
            known.append(facts.build_up)
    return found


def borrowed_build_up(
    facts: ElementFacts, by_type: Mapping[tuple[str, str], Sequence[BuildUp]]
) -> BuildUp | None:
    """The build-up of the element's type that has the materials the element lists; None without or in doubt.

    Where the layers begin is not borrowed: it belongs to each element's own placement.
    """
    fitting = [
        build_up
        for build_up in by_type.get((facts.ifc_class, facts.type_name), ())
        if {layer.material for layer in build_up.layers} == set(facts.materials)
    ]
    return replace(fitting[0], offset=None) if len(fitting) == 1 else None


def _same_layers(a: BuildUp, b: BuildUp) -> bool:
    return len(a.layers) == len(b.layers) and all(
        x.material == y.material and abs(x.thickness - y.thickness) < _SAME
        for x, y in zip(a.layers, b.layers, strict=True)
    )
