"""Constituents: the layers or bodies that make an element, each with its decision, and which of them are one part."""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.measuring.decisions import Decision, Subject
from takeoff.reading.facts import Layer


class Constituent(Struct, frozen=True):
    """One layer or body with its decision. `size` is its thickness in metres, `start` where it begins."""

    subject: Subject
    decision: Decision
    strength: str = ""
    start: float = 0.0
    size: float = 0.0
    bodies: tuple[int, ...] = ()


def taken_together(constituents: Sequence[Constituent], *, side_by_side: bool) -> list[Constituent]:
    """The constituents with those that are alike made one; with `side_by_side` only neighbours."""
    runs: list[list[Constituent]] = []
    for constituent in constituents:
        among = runs[-1:] if side_by_side else runs
        run = next((run for run in among if _alike(run[-1], constituent)), None)
        if run is None:
            runs.append([constituent])
        else:
            run.append(constituent)
    return [_joined(run) for run in runs]


def merged(subjects: Sequence[Subject]) -> Subject:
    """All that several subjects say, as one."""
    names = dict.fromkeys(subject.material for subject in subjects if subject.material)
    texts = dict.fromkeys(text for subject in subjects for text in subject.texts)
    return Subject(" + ".join(names), tuple(texts))


def without_settled(decision: Decision, outcomes: set[str]) -> Decision:
    """`decision` without conflicts about the element as a whole that another of its parts answers."""
    if not decision.conflicts:
        return decision
    left = tuple(
        s
        for s in decision.conflicts
        if s.field in ("material", "layer") or (s.rule.making or s.rule.method) not in outcomes
    )
    return replace(decision, conflicts=left)


def material_subject(name: str) -> Subject:
    """What a material says by its name."""
    return Subject(name, (("material", name, "material"),))


def layer_subject(layer: Layer) -> Subject:
    """What a layer says by its material and, where it differs, its own name."""
    texts = [("material", layer.material, "material")]
    if layer.name and layer.name != layer.material:
        texts.append(("layer", layer.name, "layer"))
    return Subject(layer.material or layer.name, tuple(texts))


def _alike(a: Constituent, b: Constituent) -> bool:
    """Whether two pieces side by side are one part.

    Concrete is one in the same method and strength, anything else in the same material.
    """
    if (
        a.decision.method != b.decision.method
        or a.decision.permanent_formwork != b.decision.permanent_formwork
    ):
        return False
    if a.decision.concrete:
        return a.strength == b.strength or not (a.strength and b.strength)
    return a.subject.material == b.subject.material


def _joined(run: Sequence[Constituent]) -> Constituent:
    """One piece of several alike, described by the thickest of them."""
    if len(run) == 1:
        return run[0]
    main = max(run, key=lambda p: p.size)
    return replace(
        main,
        strength=main.strength or next((p.strength for p in run if p.strength), ""),
        start=run[0].start,
        size=sum(p.size for p in run),
        bodies=tuple(body for p in run for body in p.bodies),
        decision=replace(main.decision, shell=all(p.decision.shell for p in run)),
    )
