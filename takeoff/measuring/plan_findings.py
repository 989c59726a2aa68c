"""Findings about methods: what was assumed, what is missing, what contradicts."""

from collections.abc import Iterable
from typing import cast

from msgspec.structs import replace

from takeoff.findings import Finding, Severity
from takeoff.measuring.decisions import Decision
from takeoff.measuring.methods import MethodRules, Statement
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart
from takeoff.reading.facts import ElementFacts
from takeoff.told import Quantity, told

_WHAT_TO_DO = {
    "method-assumed": "ask the designer, or say it in a rule or in the list of methods",
    "method-unresolved": "ask the designer, or say it in a rule or in the list of methods",
    "material-missing": "ask the designer for the material, or name the element in the list of methods",
    "material-unknown": "ask the designer for the material, or write a rule for this text",
}


def element_finding(facts: ElementFacts, severity: str, kind: str, words: str, assumed: str = "") -> Finding:
    """A finding about an element, told with its class and name."""
    name = f' "{facts.name}"' if facts.name else ""
    message = told("{}{}: {}", facts.ifc_class, name, words)
    return Finding(cast(Severity, severity), kind, facts.model, facts.global_id, message, assumed)


def decision_finding(facts: ElementFacts, decision: Decision) -> Finding | None:
    """What a person must know of a decision that was not plainly told by the model, None for nothing.

    Plain concrete taken as cast in place is a note, any bolder guess a warning.
    """
    if not decision.problem:
        return None
    plain = decision.problem == "method-assumed" and decision.method == "cast-in-place"
    words = f"{decision.because}; {_WHAT_TO_DO[decision.problem]}"
    if decision.method == "unresolved":
        assumed = "unresolved: measured and billed apart, not priced"
    else:
        assumed = decision.method
    return element_finding(facts, "note" if plain else "warning", decision.problem, words, assumed)


def conflict_finding(facts: ElementFacts, decision: Decision, other: Statement) -> Finding:
    """Two pieces of evidence that do not agree; the one of higher rank was followed."""
    words = f"{decision.evidence} is contradicted by {other.evidence}; ask which holds"
    return element_finding(facts, "warning", "method-contradiction", words, decision.method)


def shell_findings(
    plans: Iterable[ElementPlan], parts: Iterable[MeasuredPart], rules: MethodRules
) -> tuple[Finding, ...]:
    """Half slabs and twin walls modelled as one body that is thicker than a shell is made.

    Such a body holds the concrete cast on or in it too, which is priced as precast until its layers are given.
    """
    shells = {
        (plan.facts.model, plan.facts.global_id, part.part): plan.facts
        for plan in plans
        for part in plan.parts
        if part.shell
    }
    found = []
    for measured in parts:
        facts = shells.get((measured.model, measured.global_id, measured.part))
        if facts is None or measured.thickness_m is None or measured.thickness_m <= rules.thickest_shell:
            continue
        words = told(
            "{}, but {} thick: the body may hold the concrete cast on site too; ask for its layers",
            measured.evidence, Quantity(measured.thickness_m, "m", size=True),
        )  # fmt: skip
        finding = element_finding(facts, "warning", "shell-too-thick", words, "precast as a whole")
        found.append(replace(finding, worth=measured.net_volume_m3, worth_unit="m3"))
    return tuple(found)
