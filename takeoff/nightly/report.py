"""The report of a run: what changed, what failed, what waits, how the figures moved; HTML, JSON and one line."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict
from sqlalchemy import Connection, select

from takeoff import __version__
from takeoff.nightly.changes import Changes, compare
from takeoff.nightly.finished import Pass
from takeoff.nightly.history import questions
from takeoff.nightly.history.reading import read_version
from takeoff.nightly.history.schema import versions
from takeoff.nightly.history.trends import trend
from takeoff.nightly.names import escaped, shown
from takeoff.nightly.outcome import BOOK
from takeoff.nightly.outputs import MODELS
from takeoff.nightly.pictures import trend_picture
from takeoff.pricing.unit_systems import METRIC, SYSTEMS
from takeoff.told import counted

CARE = (
    "Quantities are for estimating. Temporary works, lifting, transport and structural adequacy are for competent, "
    "licensed people to decide under local codes."
)
ITEMS_SHOWN = 12
POINTS_SHOWN = 400
"""Most points of a trend in a report; `takeoff history trend` has them all."""
ROWS_SHOWN = 200
"""Most rows of a table in the HTML report; the JSON report and the history have them all."""

TRENDS = (
    ("net-total", "Net total", "{:,.2f}"),
    ("concrete", "Concrete", "{:,.2f}"),
    ("formwork", "Formwork", "{:,.2f}"),
    ("prefabrication", "Prefabrication share of volume", "{:.1%}"),
)
EVENTS = (
    "new",
    "changed",
    "rules",
    "measured",
    "renamed",
    "returned",
    "removed",
    "failed",
    "nothing",
    "waiting",
)

WORDS = {"nothing": "no concrete", "rules": "rules changed", "measured": "measured again", "failing": "fails"}
"""What the history calls otherwise than people."""


class Report(Struct, frozen=True):
    """A report in the forms in which it is told. `loud`: there is something to see; `mail`: HTML for elsewhere."""

    summary: str
    data: Mapping[str, Any]
    html: str
    text: str
    loud: bool
    mail: str = ""


class Measured(Struct, frozen=True):
    """A version that this report tells of, and what it changed against the one before."""

    name: str
    event: str
    detail: str
    changes: Changes
    link: str
    elements_link: str


def make_report(
    connection: Connection, job: int, finished: Pass, job_name: str, folder: Path, link: str = ""
) -> Report:
    """The report of a pass: all that no report has told yet, the present state, and the trends.

    `link` is the address under which the office opens the output folder; without it a mail has no links.
    """
    events = questions.list_events(connection, job, None).records()
    alerts = questions.list_alerts(connection, job, None).records()
    figures = totals(connection, job)
    measured = [_measured(connection, event) for event in events if event["version_id"] is not None]
    failing = questions.list_failing(connection, job).records()
    waiting = questions.list_waiting(connection, job).records()
    trends = [_trend(connection, job, *asked) for asked in TRENDS]
    counts = Counter(event["event"] for event in events)
    summary = _summary(finished, counts, alerts, figures, len(failing))
    data = {
        "program": "takeoff",
        "version": __version__,
        "job": job_name,
        "folder": shown(str(folder)),
        "run": finished.run,
        "started": finished.started.isoformat(timespec="seconds"),
        "seconds": round(finished.seconds, 3),
        "summary": summary,
        "models": finished.models,
        "unchanged": finished.unchanged,
        "measured": finished.measured,
        "failed": finished.failed,
        "waiting": finished.waiting,
        "removed": finished.removed,
        "totals": figures,
        "alerts": alerts,
        "events": [
            {name: _plain(event[name]) for name in ("moment", "model", "event", "detail", "version")}
            for event in events
        ],
        "changes": [_changes_data(one) for one in measured],
        "failing": [_plain_row(row) for row in failing],
        "waiting_models": [_plain_row(row) for row in waiting],
        "remarks": list(finished.remarks),
        "trends": [
            {"what": moved["label"], "unit": moved["unit"], "points": [
                [_plain(moment), value] for moment, value in moved["points"]
            ]}
            for moved in trends
        ],
        "care": CARE,
    }  # fmt: skip
    rows = [_in_units(row) for row in questions.list_models(connection, job).records()]
    html, mail = (
        _render(
            "report.html", data=data, events=events, alerts=alerts, measured=measured, failing=failing,
            waiting=waiting, trends=trends, finished=finished, limit=ROWS_SHOWN, items_shown=ITEMS_SHOWN,
            rows=rows, base=start, linked=linked,
        )
        for start, linked in (("", True), (f"{link.rstrip('/')}/" if link else "", bool(link)))
    )  # fmt: skip
    return Report(summary, data, html, _text(data), bool(alerts), mail)


def failure_report(message: str, job_name: str, folder: Path) -> Report:
    """The report of a run that could not be made at all."""
    message = escaped(" ".join(message.splitlines()))
    summary = f"takeoff nightly FAILED: {message}"
    data = {"program": "takeoff", "version": __version__, "job": job_name, "folder": shown(str(folder)),
            "moment": datetime.now(UTC).isoformat(timespec="seconds"), "summary": summary,
            "error": message}  # fmt: skip
    html, mail = (_render("failure.html", data=data, linked=linked) for linked in (True, False))
    return Report(summary, data, html, summary, True, mail)


def totals(connection: Connection, job: int) -> dict[str, Any]:
    """Figures of all models that are there, by their last good versions."""
    found: dict[str, Any] = {}
    for what in ("net-total", "grand-total", "concrete", "formwork", "reinforcement", "prefabrication"):
        rows = trend(connection, job, what).rows
        found[what] = rows[-1][2] if rows else None
        if what == "net-total":
            found["currency"] = rows[-1][3] if rows else ""
    return found


def json_text(report: Report) -> str:
    """The report's data as JSON."""
    return json.dumps(report.data, ensure_ascii=False, indent=1) + "\n"


def _measured(connection: Connection, event: Mapping[str, Any]) -> Measured:
    before = connection.scalar(
        select(versions.c.id)
        .where(versions.c.model_id == event["model_id"], versions.c.number < event["version"])
        .order_by(versions.c.number.desc())
        .limit(1)
    )
    old = read_version(connection, before) if before is not None else None
    place = f"{MODELS}/{event['folder']}/{event['place']}"
    return Measured(
        event["model"], event["event"], event["detail"],
        compare(old, read_version(connection, event["version_id"])),
        f"{place}/{BOOK}", f"{place}/changed-elements.csv",
    )  # fmt: skip


def _trend(connection: Connection, job: int, what: str, label: str, form: str) -> dict[str, Any]:
    rows = trend(connection, job, what).rows
    points = [(row[0], row[2]) for row in rows if row[2] is not None][-POINTS_SHOWN:]
    values = [value for _, value in points]
    known = [form.format(value) for value in values]
    unit = rows[-1][3] if rows else ""
    return {
        "label": label,
        "unit": unit,
        "points": points,
        "picture": trend_picture(points, f"{label} {unit}".strip(), known),
        "first": known[0] if known else "",
        "last": known[-1] if known else "",
        "lowest": form.format(min(values)) if values else "",
        "highest": form.format(max(values)) if values else "",
    }


def _summary(
    finished: Pass, counts: Mapping[str, int], alerts: Sequence[Mapping[str, Any]], figures: Mapping[str, Any],
    failing: int,
) -> str:  # fmt: skip
    """One line for the subject of a mail: what needs a person first."""
    told = [
        f"{number} {'without concrete' if kind == 'nothing' else kind}"
        for kind in EVENTS
        if kind not in ("rules", "measured") and (number := counts.get(kind))
    ]
    again = counts.get("rules", 0) + counts.get("measured", 0)
    if again:
        told.append(f"{again} measured again")
    still = failing - counts.get("failed", 0)
    if still > 0:
        told.append(f"{still} still failing")
    head = counted(len(alerts), "alert") if alerts else "no alerts" if failing else "nothing to see"
    text = f"takeoff nightly: {head}; {finished.models} model{'' if finished.models == 1 else 's'}" + (
        f", {', '.join(told)}" if told else ", no change"
    )
    if figures["net-total"] is not None:
        text += f"; net total {figures['net-total']:,.2f} {figures['currency']}".rstrip()
    return text


def _text(data: Mapping[str, Any]) -> str:
    """The report for people who read mail as plain text."""
    lines = [data["summary"], "", f"Folder: {data['folder']}", f"Run {data['run']}, {data['started']}"]
    for title, rows in (
        ("Alerts", [f"{row['model']}: {row['message']}" for row in data["alerts"]]),
        ("What happened", [_event_line(row) for row in data["events"]]),
        ("Failing", [f"{row['model']}: {row['reason']}" for row in data["failing"]]),
        ("Waiting", [f"{row['model']}: {row['reason']}" for row in data["waiting_models"]]),
        ("Remarks", data["remarks"]),
    ):
        if rows:
            lines += ["", title, *(f"- {row}" for row in rows[:ROWS_SHOWN])]
            if len(rows) > ROWS_SHOWN:
                lines.append(f"- and {len(rows) - ROWS_SHOWN} more")
    return "\n".join([*lines, "", data["care"], ""])


def _event_line(row: Mapping[str, Any]) -> str:
    return f"{row['model']}: {row['event']}" + (f": {row['detail']}" if row["detail"] else "")


def _changes_data(one: Measured) -> dict[str, Any]:
    return {
        "model": one.name,
        "event": one.event,
        "bill": one.link,
        "changed_elements": one.elements_link,
        "totals": [
            {**asdict(total), "difference": total.difference, "percent": total.percent}
            for total in one.changes.totals
        ],
        "items": [asdict(item) for item in one.changes.items],
        "elements": {
            **{kind: one.changes.count(kind) for kind in ("added", "removed", "changed")},
            "renewed": one.changes.renewed,
        },
    }


def _in_units(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of models with its figures in the units of its bill, named beside them."""
    system = SYSTEMS.get(row["units"], METRIC)
    shown: dict[str, Any] = dict(row)
    for name, unit in (("net_volume_m3", "m3"), ("formwork_m2", "m2")):
        shown[f"{unit}_unit"] = system.unit(unit)
        shown[name] = None if row[name] is None else row[name] * system.factor(unit)
    return shown


def _plain(value: Any) -> Any:
    return value.isoformat(timespec="seconds") if isinstance(value, datetime) else value


def _plain_row(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in row.items()}


def _render(page: str, **values: Any) -> str:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("takeoff.nightly", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["figure"] = _figure
    environment.filters["signed"] = lambda value: "" if value is None else f"{value:+,.2f}"
    environment.filters["share"] = lambda value: "" if value is None else f"{value:.1%}"
    environment.filters["told"] = lambda word: WORDS.get(word, word)
    environment.filters["moment"] = lambda value: "" if value is None else f"{value:%Y-%m-%d %H:%M}"
    return environment.get_template(page).render(values)


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:,.2f}"
