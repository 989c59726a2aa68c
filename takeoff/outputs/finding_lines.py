"""Findings as lines of text: by kind, the most valuable first, each kind with its number, worth and question."""

from collections.abc import Iterable, Iterator

from takeoff.findings import Finding
from takeoff.outputs.finding_groups import Kind, group_findings
from takeoff.told import counted

FEW = 10
"""So many findings of a kind are listed one by one unless all are asked for."""


def finding_lines(findings: Iterable[Finding], every: bool = False) -> Iterator[str]:
    """A heading for each kind and a line for each of its findings, the first `FEW` of them or `every` one."""
    for kind in group_findings(findings):
        yield _heading(kind)
        shown = kind.findings if every else kind.findings[:FEW]
        for finding in shown:
            where = " ".join(filter(None, (finding.model, finding.global_id)))
            place = f"{where}: " if where else ""
            assumed = f" (assumed: {finding.assumed})" if finding.assumed else ""
            yield f"  {finding.severity}: {finding.kind}: {place}{finding.message}{assumed}"
        left = len(kind.findings) - len(shown)
        if left:
            yield f"  and {left} more {kind.kind}: all of them with -v"


def _heading(kind: Kind) -> str:
    worth = f", {', '.join(kind.stakes)}" if kind.stakes else ""
    ask = f": {kind.ask}" if kind.ask else ""
    return f"{counted(len(kind.findings), kind.severity)} {kind.kind}{worth}{ask}"
