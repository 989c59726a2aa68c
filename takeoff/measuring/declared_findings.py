"""What a person is told of declared quantities that differ."""

from collections import defaultdict
from collections.abc import Sequence

from takeoff.findings import Finding, Severity
from takeoff.measuring.causes import BASE
from takeoff.measuring.checks import DeclaredLimits
from takeoff.measuring.declared_rows import WITH_OTHERS, DeclaredRow
from takeoff.told import Quantity, counted, joined, told


def volume_findings(rows: Sequence[DeclaredRow], limits: DeclaredLimits) -> list[Finding]:
    """At most one finding on volumes: the judged figure differs, or figures of one sense disagree."""
    if not rows:
        return []
    alike = [row for row in rows if row.sense == rows[0].sense]
    spread = max(row.declared for row in alike) / min(row.declared for row in alike) - 1.0
    if spread > limits.difference:
        fitting = next((row for row in alike if row.agrees), None)
        last = len(alike) - 1
        figures = joined(
            ", ",
            (
                told(
                    "{}.{} {}", row.set_name, row.name, Quantity(row.declared, "m3", ".4f", bare=place < last)
                )
                for place, row in enumerate(alike)
            ),
        )
        verdict = f"the first to fit is that of {fitting.set_name}" if fitting else "none of them fits"
        message = told(
            "the model's own sets disagree: {}; measured {}, {}: ask which set is kept up to date",
            figures, Quantity(rows[0].measured, "m3", ".4f"), verdict,
        )  # fmt: skip
        worth = abs(max(row.declared for row in alike) - min(row.declared for row in alike))
        return [
            Finding(
                "note" if fitting else "warning",
                "declared-volume-differs",
                rows[0].model,
                rows[0].global_id,
                message,
                "the measured volume",
                worth,
                "m3",
            )
        ]
    if rows[0].agrees:
        return []
    return [] if rows[0].cause == WITH_OTHERS else [quantity_differs(rows[0], "warning")]


def quantity_differs(row: DeclaredRow, severity: Severity) -> Finding:
    """A declared quantity that differs, with its likely cause and, for volumes, what it is worth."""
    unit = BASE[row.kind]
    message = told(
        "{}.{} says {}, measured {} ({} times): {}",
        row.set_name, row.name, Quantity(row.declared, unit, ".4g"), Quantity(row.measured, unit, ".4g"),
        f"{row.ratio:.4g}", row.cause,
    )  # fmt: skip
    worth = abs(row.declared - row.measured) if row.kind == "volume" else None
    return Finding(
        severity,
        f"declared-{row.kind}-differs",
        row.model,
        row.global_id,
        message,
        f"the measured {row.kind}",
        worth,
        unit if worth is not None else "",
    )


def layered(judged: Sequence[DeclaredRow]) -> list[Finding]:
    """One note a model on figures that are right for the whole build-up, which is not all concrete."""
    by_model: dict[str, list[DeclaredRow]] = defaultdict(list)
    for row in judged:
        if row.cause == WITH_OTHERS:
            by_model[row.model].append(row)
    findings = []
    for model, rows in sorted(by_model.items()):
        declared, measured = sum(row.declared for row in rows), sum(row.measured for row in rows)
        message = told(
            "the declared volume of {} ({}) includes layers that are not concrete; their concrete measured {}",
            counted(len(rows), "layered element"),
            Quantity(declared, "m3", ".2f"), Quantity(measured, "m3", ".2f"),
        )  # fmt: skip
        findings.append(
            Finding(
                "note",
                "declared-volume-differs",
                model,
                rows[0].global_id,
                message,
                "the measured concrete",
                declared - measured,
                "m3",
            )
        )
    return findings


def near(judged: Sequence[DeclaredRow], limits: DeclaredLimits) -> list[Finding]:
    """One note for each model and cause on volumes that differ, but by too little for a finding each."""
    alike: dict[tuple[str, str], list[DeclaredRow]] = defaultdict(list)
    for row in judged:
        if row.agrees and row.cause:
            alike[row.model, row.cause].append(row)
    findings = []
    for (model, cause), rows in sorted(alike.items()):
        declared, measured = sum(row.declared for row in rows), sum(row.measured for row in rows)
        message = told(
            "the declared volume of {} is off by {} to {}: {} against {} measured; {}",
            counted(len(rows), "element"), f"{limits.close:.1%}", f"{limits.difference:.0%}",
            Quantity(declared, "m3", ".4g"), Quantity(measured, "m3", ".4g"), cause,
        )  # fmt: skip
        findings.append(
            Finding(
                "note",
                "declared-volume-near",
                model,
                rows[0].global_id,
                message,
                "the measured volume",
                abs(declared - measured),
                "m3",
            )
        )
    return findings


def totals(judged: Sequence[DeclaredRow], limits: DeclaredLimits) -> list[Finding]:
    """A note for each model whose declared volumes do not add up to the measured ones, layered ones apart."""
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for row in (row for row in judged if row.cause != WITH_OTHERS):
        sums[row.model][0] += row.declared
        sums[row.model][1] += row.measured
    findings = []
    for model, (declared, measured) in sorted(sums.items()):
        low, high = limits.total
        if not low <= declared / measured <= high:
            message = told(
                "declared volumes come to {}, the same elements measured {} ({} times, usual {} to {}): look at "
                "the findings on single elements",
                Quantity(declared, "m3", ".2f"), Quantity(measured, "m3", ".2f"), f"{declared / measured:.4f}",
                f"{low:g}", f"{high:g}",
            )  # fmt: skip
            findings.append(
                Finding(
                    "note",
                    "declared-total-differs",
                    model,
                    "",
                    message,
                    "the measured volumes",
                    abs(declared - measured),
                    "m3",
                )
            )
    return findings
