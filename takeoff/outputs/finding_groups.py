"""Findings in the order in which a person should look at them."""

import math
from collections.abc import Iterable, Mapping

from msgspec import Struct

from takeoff.findings import Finding

SEVERITY_RANK = {"error": 0, "warning": 1, "note": 2}

# What a unit weighs against a cubic metre when findings are put in order, and for nothing else: about 7 m2 of
# form and 100 kg of steel go with a cubic metre of a framed building, 2.5 t are one, ten metres of edge or
# joint count as one, and so does a piece.
_ORDER_WEIGHT = {"m3": 1.0, "m2": 1 / 7, "kg": 0.01, "t": 0.4, "m": 0.1, "pieces": 1.0}


class Kind(Struct, frozen=True):
    """Findings of one kind and severity, the most valuable first."""

    severity: str
    kind: str
    findings: tuple[Finding, ...]

    @property
    def worth(self) -> dict[str, float]:
        """Summed worth by unit."""
        sums: dict[str, list[float]] = {}
        for finding in self.findings:
            if finding.worth is not None and math.isfinite(finding.worth):
                sums.setdefault(finding.worth_unit, []).append(finding.worth)
        return {unit: math.fsum(values) for unit, values in sums.items()}

    @property
    def stakes(self) -> tuple[str, ...]:
        """Summed worth in words, one text a unit."""
        return tuple(_worth_words(value, unit) for unit, value in self.worth.items())

    @property
    def money(self) -> float | None:
        """What hangs on them in a bill, None where no figure can be put on any; on one element counted once.

        Findings that name one element each speak of the same money when they name the same one.
        """
        most: dict[tuple[str, str, int], float] = {}
        for place, finding in enumerate(self.findings):
            if finding.money is not None:
                key = (finding.model, finding.global_id, -1 if finding.global_id else place)
                most[key] = max(most.get(key, 0.0), finding.money)
        return math.fsum(most.values()) if most else None

    @property
    def ask(self) -> str:
        """What to ask about them."""
        return self.findings[0].ask


def group_findings(findings: Iterable[Finding]) -> tuple[Kind, ...]:
    """Findings by severity and kind: most severe first, then by money, by worth, and the most frequent."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.severity, finding.kind), []).append(finding)
    kinds = [
        Kind(severity, kind, tuple(sorted(members, key=_finding_order)))
        for (severity, kind), members in groups.items()
    ]
    return tuple(sorted(kinds, key=_kind_order))


def severity_counts(findings: Iterable[Finding]) -> Mapping[str, int]:
    """Number of findings by severity, all three named."""
    counts = dict.fromkeys(SEVERITY_RANK, 0)
    for finding in findings:
        counts[finding.severity] += 1
    return counts


def _worth_words(value: float, unit: str) -> str:
    if unit == "pieces":  # counted, not measured
        return f"{value:,.0f} piece{'' if value == 1 else 's'}"
    return f"{value:,.2f} {unit}".strip()


def _weight(finding: Finding) -> float:
    if finding.worth is None or not math.isfinite(finding.worth):
        return 0.0
    return abs(finding.worth) * _ORDER_WEIGHT.get(finding.worth_unit, 0.0)


def _finding_order(finding: Finding) -> tuple[float, float, str, str, str]:
    return (-abs(finding.money or 0.0), -_weight(finding), finding.model, finding.global_id, finding.message)


def _kind_order(kind: Kind) -> tuple[int, float, float, int, str]:
    worth = math.fsum(_weight(finding) for finding in kind.findings)
    return (SEVERITY_RANK[kind.severity], -abs(kind.money or 0.0), -worth, -len(kind.findings), kind.kind)
