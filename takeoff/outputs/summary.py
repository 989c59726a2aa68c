"""The closing words of a run for a terminal of 80 columns: quantities, price, what to look at."""

import math
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from takeoff.measuring.plan import METHODS, ROLES
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.outputs.finding_groups import group_findings, severity_counts
from takeoff.outputs.unit_view import findings_shown_in, shown_in
from takeoff.pricing.records import Bill, ShareRow
from takeoff.pricing.unit_systems import METRIC, UnitSystem, unit_system

if TYPE_CHECKING:
    from takeoff.pricing.scoring import Score

WIDTH = 80
TOP_FINDINGS = 5

_MADE = tuple(method for method in METHODS if method != "not-concrete")
_ROLE_WIDTH = 12
_FIGURE_WIDTH = 13


def summary_lines(
    measurement: Measurement,
    bill: Bill | None = None,
    shares: Sequence[ShareRow] = (),
    all_kinds: bool = False,
    score: "Score | None" = None,
) -> tuple[str, ...]:
    """Lines of at most 80 columns: net volume by role and method, formwork, steel, share, price, findings.

    `shares` are those of a run without a bill; a bill brings its own. Of the kinds of findings the first few are
    named, or `all_kinds`.
    """
    system = unit_system(bill.units) if bill else METRIC
    measurement = shown_in(measurement, system)
    if bill:
        bill = replace(bill, findings=findings_shown_in(bill.findings, system))
    blocks = [
        _volumes(measurement.parts, system),
        _totals(measurement, system),
        [*_shares(bill.shares if bill else shares), *_score(score)],
        _money(bill) if bill else [],
        _findings(measurement, bill, all_kinds),
    ]
    lines: list[str] = []
    for block in blocks:
        if block:
            lines += ["", *block] if lines else block
    return tuple(_cut(line) for line in lines)


def _volumes(parts: Sequence[MeasuredPart], system: UnitSystem) -> list[str]:
    """A small table: roles down, methods across, net m3 or what stands for it."""
    sums: dict[tuple[str, str], float] = {}
    for part in parts:
        if part.method in _MADE and part.net_volume_m3 is not None:
            key = (part.role, part.method)
            sums[key] = sums.get(key, 0.0) + part.net_volume_m3
    if not sums:
        return ["No concrete was measured."]
    methods = [method for method in _MADE if any(key[1] == method for key in sums)]
    roles = [role for role in ROLES if any(key[0] == role for key in sums)]
    roles += sorted({role for role, _ in sums} - set(roles))
    lines = [_row(f"Net {system.unit('m3')}", [*methods, "all"])]
    for role in roles:
        figures = [sums.get((role, method), 0.0) for method in methods]
        lines.append(_row(role or "no role", [*map(_figure, figures), _figure(math.fsum(figures))]))
    columns = [math.fsum(sums.get((role, method), 0.0) for role in roles) for method in methods]
    lines.append(_row("all", [*map(_figure, columns), _figure(math.fsum(columns))]))
    return lines


def _totals(measurement: Measurement, system: UnitSystem) -> list[str]:
    parts = measurement.parts
    elements = len({(part.model, part.global_id) for part in parts})
    lines = [f"{_count(elements, 'element')} in {_count(len(parts), 'part')}"]
    other = len({(part.model, part.global_id) for part in parts if part.method == "not-concrete"})
    if other:
        lines[0] += f", {other} of them no concrete"
    formwork = _sum(part.formwork_m2 for part in parts)
    if formwork:
        lines.append(f"Formwork {formwork:,.2f} {system.unit('m2')}")
    steel = _sum(part.reinforcement_kg for part in parts)
    if steel:
        lines.append(
            f"Reinforcement {steel:,.0f} {system.unit('kg')}"
            if system is not METRIC
            else f"Reinforcement {steel / 1000:,.3f} t"
        )
    if measurement.pieces:
        weight = _sum(piece.weight_t for piece in measurement.pieces)
        shapes = len({piece.repetition_group for piece in measurement.pieces})
        pieces = _count(len(measurement.pieces), "piece")
        lines.append(f"{pieces} to lift in {_count(shapes, 'shape')}, {weight:,.2f} {system.word('t')}")
        lines += textwrap.wrap(measurement.caution, WIDTH - 1)
    missing = sum(part.method in _MADE and part.net_volume_m3 is None for part in parts)
    if missing:
        lines.append(f"{_count(missing, 'part')} could not be measured")
    return lines


def _shares(shares: Sequence[ShareRow]) -> list[str]:
    known = [(row.measure, row.share) for row in shares if row.by == "all" and row.share is not None]
    if not known:
        return []
    return _wrapped("Prefabricated: ", [f"{share:.1%} of {measure}" for measure, share in known])


def _score(score: "Score | None") -> list[str]:
    if score is None:
        return []
    return textwrap.wrap(f"Score {score.total:,.2f} of {score.most:g} points: {score.name}", WIDTH - 1)


def _money(bill: Bill) -> list[str]:
    currency = f" {bill.currency}" if bill.currency else ""
    lines = [f"Net total {bill.net_total:,.2f}{currency}, grand total {bill.grand_total:,.2f}{currency}"]
    if bill.unpriced:
        lines.append(f"INCOMPLETE: {_count(len(bill.unpriced), 'item')} without a rate, not in the totals")
    return lines


def _findings(measurement: Measurement, bill: Bill | None, all_kinds: bool) -> list[str]:
    findings = tuple(dict.fromkeys((*measurement.findings, *(bill.findings if bill else ()))))
    if not findings:
        return ["Nothing to look at."]
    counts = ", ".join(_count(number, name) for name, number in severity_counts(findings).items() if number)
    kinds = group_findings(findings)
    lines = [f"To look at: {counts}"]
    named = len(kinds) if all_kinds else TOP_FINDINGS
    for kind in kinds[:named]:
        stakes = list(kind.stakes)
        if bill and kind.money is not None:
            stakes.append(f"{kind.money:,.2f} {bill.currency}".strip())
        worth = ", ".join(stakes)
        line = f"  {len(kind.findings):>5}  {kind.severity:<8}{kind.kind}"
        lines.append(f"{line} ({worth})" if worth else line)
    if len(kinds) > named:
        lines.append(f"         and {_count(len(kinds) - named, 'further kind')}; all of them with -v")
    return lines


def _row(head: str, cells: Sequence[str]) -> str:
    return head[:_ROLE_WIDTH].ljust(_ROLE_WIDTH) + "".join(cell.rjust(_FIGURE_WIDTH) for cell in cells)


def _figure(value: float) -> str:
    return f"{value:,.3f}" if value else "-"


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def _sum(values: Iterable[float | None]) -> float:
    return math.fsum(value or 0.0 for value in values)


def _wrapped(head: str, items: Sequence[str]) -> list[str]:
    """The items behind a heading, as many on a line as fit, further lines set in."""
    lines = [head + items[0]]
    for item in items[1:]:
        if len(lines[-1]) + len(item) + 2 <= WIDTH - 1:
            lines[-1] += f", {item}"
        else:
            lines[-1] += ","
            lines.append(" " * len(head) + item)
    return lines


def _cut(line: str) -> str:
    """The line without control characters (names come from models), cut to the width."""
    shown = "".join(c for c in line if c.isprintable())
    return shown if len(shown) <= WIDTH else shown[: WIDTH - 3] + "..."
