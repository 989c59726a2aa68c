"""How one thing is made: the statements of the rules about it weighed against each other.

Two questions are kept apart. Of what is it: concrete, not concrete, a form that stays? There the material's
words come first, then properties, type and name. And how is it made: there properties come first, then the
material's words, then type and name. What the deciding text does not agree with is kept as a conflict.
"""

from collections.abc import Callable, Iterable, Sequence

from msgspec import Struct, field

from takeoff.measuring.methods import MAKINGS, RANK, MethodRules, Statement, by_rank
from takeoff.measuring.overrides import Override
from takeoff.reading.facts import ElementFacts

_OF_MATERIAL = ("material", "layer")
# Of what a thing is, a predefined type (a partition, say) tells less than a type or name that says concrete.
_SUBSTANCE_RANK = {**RANK, "predefined_type": RANK["presentation_layer"] + 0.5}


class Subject(Struct, frozen=True):
    """What is decided about: an element as a whole, one of its layers or one of its bodies.

    `texts` are (field, text, how to name the text to a person) of its material; `material` is what to show.
    """

    material: str
    texts: tuple[tuple[str, str, str], ...]

    @property
    def has_material(self) -> bool:
        """Whether the model says anything of the material."""
        return any(text.strip() for _, text, _ in self.texts)


class Decision(Struct, frozen=True):
    """The method of one subject.

    `problem` is the kind of finding that the decision deserves, empty for none: `method-assumed`,
    `method-unresolved`, `material-missing` or `material-unknown`. `because` gives its reason. `conflicts`
    name evidence against the decision.
    """

    method: str
    evidence: str
    permanent_formwork: bool = False
    shell: bool = False
    inside: bool = False
    problem: str = ""
    because: str = ""
    conflicts: tuple[Statement, ...] = ()

    @property
    def concrete(self) -> bool:
        """Whether the subject is measured as concrete (an unresolved one is)."""
        return self.method in MAKINGS or self.method == "unresolved"


class Evidence(Struct, frozen=True):
    """All that is stated about an element apart from its materials, and its place in the user's list."""

    facts: ElementFacts
    override: Override | None
    own: tuple[Statement, ...]
    stated: tuple[Statement, ...]
    texts: tuple[Statement, ...] = field(default=())


def gather(
    facts: ElementFacts, rules: MethodRules, override: Override | None, embedded: Sequence[str] = ()
) -> Evidence:
    """The evidence on an element; `embedded` are the names of what is cast into it."""
    found = list(rules.read_properties(facts.properties))
    for name, texts in (
        ("predefined_type", (facts.predefined_type,)),
        ("class", (facts.ifc_class,)),
        ("type", (facts.type_name, facts.object_type)),
        ("name", (facts.name,)),
        ("mark", (facts.mark,)),
        ("classification", facts.classifications),
        ("presentation_layer", facts.presentation_layers),
        ("embedded", embedded),
        ("assembly_mark", (facts.assembly_mark,)),
        ("storey", (facts.storey,)),
    ):
        for text in dict.fromkeys(texts):
            if text:
                found.extend(rules.read(name, text, name.replace("_", " ")))
    own = tuple(sorted((s for s in found if s.rule.own), key=lambda s: s.order))
    rest = sorted((s for s in found if not s.rule.own), key=by_rank)
    high = tuple(s for s in rest if s.field in ("property", "predefined_type"))
    low = tuple(s for s in rest if s.field not in ("property", "predefined_type"))
    return Evidence(facts, override, own, high, low)


def own_making(subject: Subject, rules: MethodRules) -> str | None:
    """The method that the material states; empty for concrete that states none, None for no concrete."""
    told = rules.about(subject.texts)
    substance = _first(told, lambda s: bool(s.rule.substance))
    if substance is None or substance.rule.substance != "concrete":
        return None
    making = _first(told, lambda s: bool(s.rule.making))
    return making.rule.making if making else ""


def decide(
    subject: Subject,
    evidence: Evidence,
    rules: MethodRules,
    *,
    material_first: bool = False,
    by_element: bool = True,
    among_others: bool = False,
) -> Decision:
    """The method of `subject`, a part of the element that `evidence` is about, or all of it.

    `material_first`: the material's own words on the making come before the element's properties (layers that
    differ). `by_element`: where the material's words say nothing, type and name may say what it is made of.
    `among_others`: other parts may be the element's concrete, so what the user says of the element leaves
    alone a part that plainly is something else.
    """
    told = rules.about(subject.texts)
    of_material = tuple(s for s in told if not s.rule.own)
    substance = _substance(of_material, evidence, by_element)
    kept = substance if among_others else None
    if evidence.override is not None:
        return _by_user(evidence.override.method, f"user's list: {evidence.override.source}", kept)
    own = sorted((*evidence.own, *(s for s in told if s.rule.own)), key=lambda s: s.order)
    for statement in own:
        if statement.rule.method == "concrete":
            substance = statement
        elif not statement.rule.needs_concrete or _is_concrete(substance):
            of_this = statement.field in _OF_MATERIAL
            return _by_user(statement.rule.method, statement.evidence, None if of_this else kept)
    if substance is None:
        return _unknown(subject, evidence, rules, told)
    if not _is_concrete(substance):
        return Decision(
            "not-concrete",
            substance.evidence,
            permanent_formwork=substance.rule.substance == "permanent-formwork"
            or (not among_others and _called_a_form(evidence)),
            inside=substance.rule.inside,
            conflicts=_against_other_material(substance, of_material, evidence),
        )
    return _making(of_material, evidence, rules, substance, material_first)


def _called_a_form(evidence: Evidence) -> bool:
    """Whether type or name say that a thing stays as a form: a sheet of steel that is named as decking."""
    told = _first(evidence.texts, lambda s: bool(s.rule.substance))
    return told is not None and told.rule.substance == "permanent-formwork"


def _is_concrete(substance: Statement | None) -> bool:
    return substance is not None and substance.rule.substance == "concrete"


def _substance(of_material: Sequence[Statement], evidence: Evidence, by_element: bool) -> Statement | None:
    """The statement that tells of what the subject is."""
    if found := _first(of_material, lambda s: bool(s.rule.substance)):
        return found
    if not by_element:
        return None
    ranked = sorted((*evidence.stated, *evidence.texts), key=lambda s: (_SUBSTANCE_RANK[s.field], s.order))
    return _first(ranked, lambda s: bool(s.rule.substance))


def _by_user(method: str, told: str, kept: Statement | None) -> Decision:
    """The user's word; `kept` is what the part plainly is, where the word is not about this part alone."""
    if kept is not None and not _is_concrete(kept) and method != "not-concrete":
        formwork = kept.rule.substance == "permanent-formwork"
        return Decision("not-concrete", kept.evidence, permanent_formwork=formwork)
    if method == "permanent-formwork":
        return Decision("not-concrete", told, permanent_formwork=True)
    return Decision(method, told)


def _making(
    of_material: Sequence[Statement],
    evidence: Evidence,
    rules: MethodRules,
    substance: Statement,
    material_first: bool,
) -> Decision:
    """How a subject of concrete is made."""
    first, second = (of_material, evidence.stated) if material_first else (evidence.stated, of_material)
    ranked = (*first, *second, *evidence.texts)
    telling = [s for s in ranked if s.rule.making and not s.rule.assumed]
    if telling:
        best = telling[0]
        by_field: dict[str, list[Statement]] = {}
        for statement in telling:
            by_field.setdefault(statement.field, []).append(statement)
        conflicts = [
            statements[0]
            for statements in by_field.values()
            if all(s.rule.making != best.rule.making for s in statements)
        ]
        conflicts += [s for s in by_field[best.field] if s.rule.making != best.rule.making]
        conflicts += _against_concrete(substance, of_material, evidence)
        shell = any(s.rule.shell for s in telling if s.rule.making == best.rule.making)
        return Decision(
            best.rule.making, best.evidence, shell=shell, conflicts=tuple(dict.fromkeys(conflicts))
        )
    against = tuple(_against_concrete(substance, of_material, evidence))
    if open_question := _first(ranked, lambda s: s.rule.method == "unresolved"):
        told = open_question.evidence
        return Decision("unresolved", told, problem="method-unresolved", because=told, conflicts=against)
    if guess := _first(ranked, lambda s: bool(s.rule.making)):
        told = guess.evidence
        return Decision(
            guess.rule.making,
            f"assumption: {told}",
            problem="method-assumed",
            because=told,
            conflicts=against,
        )
    told = f"{substance.source} says concrete, nothing says how it is made"
    method = rules.assume.concrete
    return Decision(method, f"assumption: {told}", problem="method-assumed", because=told, conflicts=against)


def _against_concrete(
    substance: Statement, of_material: Sequence[Statement], evidence: Evidence
) -> list[Statement]:
    """Evidence that what is taken as concrete is something else: in the same text, or in the type or name."""
    here = [
        s
        for s in of_material
        if s.source == substance.source and s.rule.substance == "not-concrete" and not s.rule.inside
    ]
    there = []
    for name in ("type", "name"):
        told = _first(evidence.texts, lambda s: s.field == name and bool(s.rule.substance))  # noqa: B023
        if told is not None and told.rule.substance == "not-concrete" and substance.field in _OF_MATERIAL:
            there.append(told)
    return here + there


def _against_other_material(
    substance: Statement, of_material: Sequence[Statement], evidence: Evidence
) -> tuple[Statement, ...]:
    """Evidence of concrete on what its material says is none: in the same text, or a property on its making."""
    if substance.field not in _OF_MATERIAL:
        return ()
    here = (s for s in of_material if s.source == substance.source)
    stated = (s for s in evidence.stated if s.field == "property")
    return tuple(s for s in (*here, *stated) if s.rule.substance == "concrete")


def _unknown(subject: Subject, evidence: Evidence, rules: MethodRules, told: Sequence[Statement]) -> Decision:
    """A subject of which nothing says what it is made of."""
    ranked = (*evidence.stated, *told, *evidence.texts)
    hint = _first(ranked, lambda s: bool(s.rule.making) and not s.rule.assumed)
    known = f" ({hint.source} notwithstanding)" if hint and hint not in told else ""
    if subject.has_material:
        kind, why = "material-unknown", f'material "{subject.material}" says nothing of what it is'
        method = rules.assume.unknown_material
    else:
        kind, why = "material-missing", "the model gives no material"
        method = rules.assume.no_material
    if open_question := _first((*told, *evidence.texts), lambda s: s.rule.method == "unresolved"):
        told_so = open_question.evidence
        return Decision("unresolved", told_so, problem="method-unresolved", because=told_so)
    if evidence.facts.role == "foundation":
        method = hint.rule.making if hint else rules.assume.foundation_without_material
        why += ", and foundations are mostly concrete"
        known = f", {hint.evidence}" if hint else ""
    return Decision(
        method,
        f"assumption: {why}{known}" if method != "unresolved" else f"none: {why}{known}",
        problem=kind,
        because=why + known,
    )


def _first(statements: Iterable[Statement], fits: Callable[[Statement], bool]) -> Statement | None:
    return next((s for s in statements if fits(s)), None)
