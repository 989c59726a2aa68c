"""The planner: every element taken apart into parts, each with its method and what decided it.

A build-up whose layers differ in method or in being concrete becomes parts by thickness; an element made of
bodies of different materials becomes parts by body; anything else is one part.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import chain

from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.isolation.spread import Spread, at_once
from takeoff.measuring.bodies import PIECES
from takeoff.measuring.constituents import (
    Constituent,
    layer_subject,
    material_subject,
    merged,
    taken_together,
    without_settled,
)
from takeoff.measuring.decisions import Decision, Evidence, Subject, decide, gather, own_making
from takeoff.measuring.layering import borrowed_build_up, build_ups_by_type
from takeoff.measuring.methods import MAKINGS, MethodRules
from takeoff.measuring.overrides import Overrides
from takeoff.measuring.plan import ElementPlan, GroundForm, PartPlan
from takeoff.measuring.plan_findings import conflict_finding, decision_finding, element_finding
from takeoff.measuring.strength import strength_class
from takeoff.reading.facts import BuildUp, ElementFacts, ModelFacts
from takeoff.told import Quantity, joined, told

_PLACES = 9  # decimals of a metre kept where thicknesses are added up
_CAST_COVERINGS = ("TOPPING", "FLOORING")
_LEVEL_COVERINGS = ("TOPPING", "FLOORING", "CEILING", "ROOFING")


_Said = tuple[ElementFacts | None, str, str, tuple[PartPlan, ...], tuple[Finding, ...], GroundForm | None]
"""A plan without the element's facts, where planning has not changed them: these need not travel."""


def plan_elements(
    models: Sequence[ModelFacts],
    rules: MethodRules,
    overrides: Overrides | None = None,
    spread: Spread = at_once,
) -> tuple[ElementPlan, ...]:
    """A plan for every element of the models, in their order; `spread` divides the work.

    Elements without a role are left out unless they stay as a form or are coverings cast of concrete.
    """
    elements = [(facts, number) for number, model in enumerate(models) for facts in model.elements]
    by_type = [build_ups_by_type(model.elements) for model in models]
    cast_in = [_embedded_names(model) for model in models]

    def planned(numbers: range) -> list[_Said | None]:
        said: list[_Said | None] = []
        for facts, model in elements[numbers.start : numbers.stop]:
            override = overrides.find(facts) if overrides else None
            inside = cast_in[model].get(facts.assembly) or cast_in[model].get(facts.global_id, ())
            evidence = gather(facts, rules, override, inside)
            plan = _Planner(facts, evidence, rules, by_type[model]).plan()
            if plan is None:
                said.append(None)
                continue
            changed = None if plan.facts is facts else plan.facts
            said.append((changed, plan.role, plan.subrole, plan.parts, plan.findings, plan.ground))
        return said

    shares = spread(planned, len(elements), _as_it_is, _as_it_is)
    return tuple(
        ElementPlan(said[0] or facts, *said[1:])
        for (facts, _), said in zip(elements, chain.from_iterable(shares), strict=True)
        if said is not None
    )


def _as_it_is(said: list[_Said | None]) -> list[_Said | None]:
    return said


def _embedded_names(model: ModelFacts) -> Mapping[str, tuple[str, ...]]:
    """Names of what is cast into an element, by its GlobalId and by that of the assembly it is part of."""
    assemblies = {facts.global_id: facts.assembly for facts in model.elements}
    names: dict[str, dict[str, None]] = defaultdict(dict)
    for thing in model.embedded:
        for place in (thing.host, assemblies.get(thing.host, "")):
            if place and thing.name:
                names[place][thing.name] = None
    return {place: tuple(found) for place, found in names.items()}


class _Planner:
    """Plans one element."""

    def __init__(
        self,
        facts: ElementFacts,
        evidence: Evidence,
        rules: MethodRules,
        by_type: Mapping[tuple[str, str], Sequence[BuildUp]],
    ) -> None:
        self._facts = facts
        self._evidence = evidence
        self._rules = rules
        self._by_type = by_type
        self._findings: list[Finding] = []

    def plan(self) -> ElementPlan | None:
        """The element's plan, None where it is nothing to this program."""
        parts = self._parts()
        ground = self._rules.ground.of(self._facts)
        role, subrole = self._facts.role, self._facts.subrole
        if not role:
            covers = self._facts.predefined_type.upper()
            made = {part.method for part in parts if part.method in MAKINGS}
            if made and (made & set(PIECES) or covers in _CAST_COVERINGS):
                role, subrole = "slab" if covers in _LEVEL_COVERINGS else "wall", covers
                self._tell(
                    "note",
                    "covering-taken-in",
                    f"a covering of concrete; check that no other {role} has it too",
                    f"a {role}",
                )
            elif not any(part.permanent_formwork for part in parts) and not (ground and ground.holds):
                return None
            else:
                self._findings.clear()
        kind = self._rules.kinds.of(self._facts, role, {part.method for part in parts})
        if kind is not None and kind[0] != subrole:
            subrole = kind[0]
            self._tell(
                "note",
                "kind-by-words",
                f"the predefined type does not tell the kind, {kind[1]} does; ask if in doubt",
                subrole,
            )
        return ElementPlan(self._facts, role, subrole, tuple(parts), tuple(self._findings), ground)

    def _parts(self) -> list[PartPlan]:
        facts = self._facts
        if facts.build_up is not None:
            layers = tuple(layer for layer in facts.build_up.layers if layer.thickness > 0)
            if len(layers) > 1:
                return self._by_layers(facts.build_up)
            if len(facts.build_up.layers) == 1:
                return self._whole(layer_subject(facts.build_up.layers[0]))
            if layers:
                return self._whole(layer_subject(layers[0]))
        if facts.body_materials and len(set(facts.body_materials)) > 1:
            return self._by_bodies()
        if len(dict.fromkeys(facts.materials)) > 1:
            return self._by_list()
        return self._whole(self._element_subject())

    # -- one part ------------------------------------------------------------------------------------------

    def _element_subject(self) -> Subject:
        """The element's material, or what stands in its place."""
        facts = self._facts
        names = tuple(dict.fromkeys(name for name in facts.materials if name.strip()))
        texts = [("material", name, "material") for name in names]
        texts += [("material", c, "material category") for c in dict.fromkeys(facts.material_categories) if c]
        return Subject(" + ".join(names), tuple(texts))

    def _whole(self, subject: Subject) -> list[PartPlan]:
        subject = self._or_from_properties(subject)
        decision = decide(subject, self._evidence, self._rules)
        self._note(decision)
        return [self._part(1, Constituent(subject, decision, self._strength(subject, decision)))]

    def _or_from_properties(self, subject: Subject) -> Subject:
        """`subject`, or the material that a property gives where the element's own says nothing."""
        if any(s.rule.substance for s in self._rules.about(subject.texts)):
            return subject
        named = self._rules.material_properties(self._facts.properties)
        if not named:
            return subject
        texts = (*subject.texts, *(("material", value, source) for value, source in named))
        return Subject(subject.material or named[0][0], texts)

    def _part(self, number: int, piece: Constituent, *, sliced: bool = False) -> PartPlan:
        return PartPlan(
            part=number,
            method=piece.decision.method,
            evidence=piece.decision.evidence,
            material=piece.subject.material,
            strength_class=piece.strength,
            layers=(piece.start, round(piece.start + piece.size, _PLACES)) if sliced else None,
            permanent_formwork=piece.decision.permanent_formwork,
            bodies=piece.bodies,
            shell=piece.decision.shell,
        )

    def _strength(self, subject: Subject, decision: Decision) -> str:
        if not decision.concrete or decision.problem == "material-unknown":
            return ""
        texts = [text for _, text, _ in subject.texts]
        values = self._rules.strength_properties(self._facts.properties)
        return strength_class(texts, [*values, self._facts.type_name, self._facts.name])

    # -- parts by layer ------------------------------------------------------------------------------------

    def _by_layers(self, build_up: BuildUp) -> list[PartPlan]:
        layers = build_up.layers
        subjects = [layer_subject(layer) for layer in layers]
        decisions = self._decide_all(subjects, [layer.thickness for layer in layers])
        if decisions is None:
            return self._whole(merged(subjects))
        pieces: list[Constituent] = []
        start = 0.0
        for layer, subject, decision in zip(layers, subjects, decisions, strict=True):
            if layer.thickness > 0:
                strength = self._strength(subject, decision)
                pieces.append(Constituent(subject, decision, strength, start, layer.thickness))
            start = round(start + layer.thickness, _PLACES)
        return self._parts_of(pieces, sliced=True)

    def _decide_all(self, subjects: Sequence[Subject], sizes: Sequence[float]) -> list[Decision] | None:
        """A decision for each subject, None where no material says anything and the element is one thing.

        The largest subject may take its substance from type and name; a smaller unknown one is taken as no
        concrete beside it. Where subjects of concrete state different makings, their words go before the
        element's properties.
        """
        rules, evidence = self._rules, self._evidence
        said = [rules.about(subject.texts) for subject in subjects]
        known = [any(s.rule.substance or s.rule.own for s in statements) for statements in said]
        makings = [own_making(subject, rules) for subject in subjects]
        may_be = [making is not None or not k for making, k in zip(makings, known, strict=True)]
        says_method = evidence.override is not None or bool(evidence.own)
        if not any(known) or (says_method and not any(may_be)):
            return None
        differ = len({making for making in makings if making is not None}) > 1
        largest = max(sizes)
        decisions: list[Decision] = []
        for subject, size, is_known in zip(subjects, sizes, known, strict=True):
            if is_known or size >= largest:
                decisions.append(
                    decide(
                        subject,
                        evidence,
                        rules,
                        material_first=differ,
                        by_element=size >= largest,
                        among_others=True,
                    )
                )
                continue
            what = f'layer "{subject.material}"' if subject.has_material else "a layer without material"
            self._tell("note", "layer-unknown", f"{what} says nothing of what it is", "not concrete")
            decisions.append(Decision("not-concrete", f"assumption: {what}, thinner than what it lies on"))
        return decisions

    def _parts_of(self, pieces: Sequence[Constituent], *, sliced: bool) -> list[PartPlan]:
        """The parts that the pieces make: like beside like is one, all alike is the whole element."""
        if not any(p.decision.concrete or p.decision.permanent_formwork for p in pieces):
            return [self._nothing_of_concrete(pieces)]
        outcomes = {piece.decision.method for piece in pieces}
        for piece in pieces:
            self._note(without_settled(piece.decision, outcomes))
        runs = taken_together(pieces, side_by_side=sliced)
        if len(runs) == 1:
            return [self._part(1, replace(runs[0], bodies=()))]
        return [self._part(number, piece, sliced=sliced) for number, piece in enumerate(runs, 1)]

    def _nothing_of_concrete(self, pieces: Sequence[Constituent]) -> PartPlan:
        main = max(pieces, key=lambda p: p.size)
        others = len(pieces) - 1
        evidence = main.decision.evidence + (f", no concrete in {others} more" if others else "")
        decision = replace(main.decision, evidence=evidence)
        self._note(main.decision)
        material = " + ".join(dict.fromkeys(p.subject.material for p in pieces if p.subject.material))
        return self._part(1, Constituent(Subject(material, ()), decision))

    # -- parts by body -------------------------------------------------------------------------------------

    def _by_bodies(self) -> list[PartPlan]:
        facts = self._facts
        by_material: dict[str, list[int]] = defaultdict(list)
        for body, material in zip(facts.body, facts.body_materials, strict=False):
            by_material[material].append(body)
        own = self._element_subject()
        subjects = [material_subject(name) if name.strip() else own for name in by_material]
        decisions = self._decide_all(subjects, [1.0] * len(subjects))
        if decisions is None:
            return self._whole(merged(subjects))
        pieces = [
            Constituent(subject, decision, self._strength(subject, decision), bodies=tuple(bodies))
            for subject, decision, bodies in zip(subjects, decisions, by_material.values(), strict=True)
        ]
        return self._parts_of(pieces, sliced=False)

    # -- a list of materials without thicknesses -----------------------------------------------------------

    def _by_list(self) -> list[PartPlan]:
        names = tuple(dict.fromkeys(self._facts.materials))
        subjects = [material_subject(name) for name in names]
        decisions = self._decide_all(subjects, [1.0] * len(subjects))
        if decisions is None:
            return self._whole(self._element_subject())
        pairs = [(s, d) for s, d in zip(subjects, decisions, strict=True) if not d.inside]
        if not pairs:
            pairs = list(zip(subjects, decisions, strict=True))
        concrete = [pair for pair in pairs if pair[1].concrete]
        other = [pair for pair in pairs if not pair[1].concrete]
        methods = {decision.method for _, decision in concrete}
        if len(methods) == 1 and not other:
            subject, decision = concrete[0]
            self._note(decision)
            return [
                self._part(
                    1,
                    Constituent(
                        subject, decision, self._strength(merged([s for s, _ in concrete]), decision)
                    ),
                )
            ]
        if not concrete:
            return [self._nothing_of_concrete([Constituent(s, d) for s, d in pairs])]
        borrowed = borrowed_build_up(self._facts, self._by_type)
        if borrowed is not None:
            self._facts = replace(self._facts, build_up=borrowed)
            layers = joined(
                " + ",
                (
                    told("{} {}", layer.material, Quantity(layer.thickness, "m", "g", size=True))
                    for layer in borrowed.layers
                ),
            )
            self._tell(
                "note",
                "layers-borrowed",
                told("lists materials without thicknesses; other elements of its type have {}", layers),
                "the same layers",
            )
            return self._by_layers(borrowed)
        listed = ", ".join(names)
        subject, decision = concrete[0]
        if len(methods) > 1:
            words = f"materials {listed}: made in different ways, without thicknesses"
            decision = Decision("unresolved", words)
            self._tell(
                "warning",
                "layers-unknown",
                f"{words}; ask for the layers",
                "unresolved, measured as one body",
            )
        else:
            self._note(decision)
            words = f"lists {listed} without thicknesses; its volume may hold more than the concrete"
            self._tell(
                "warning", "layers-unknown", f"{words}; ask for the layers", "the whole body is concrete"
            )
        return [self._part(1, Constituent(subject, decision, self._strength(subject, decision)))]

    # -- findings ------------------------------------------------------------------------------------------

    def _note(self, decision: Decision) -> None:
        """The findings of a decision, one of a kind and outcome for an element."""
        finding = decision_finding(self._facts, decision)
        if finding is not None and not any(
            (f.kind, f.assumed) == (finding.kind, finding.assumed) for f in self._findings
        ):
            self._findings.append(finding)
        for other in decision.conflicts:
            conflict = conflict_finding(self._facts, decision, other)
            if conflict not in self._findings:
                self._findings.append(conflict)

    def _tell(self, severity: str, kind: str, words: str, assumed: str) -> None:
        finding = element_finding(self._facts, severity, kind, words, assumed)
        if finding not in self._findings:
            self._findings.append(finding)
