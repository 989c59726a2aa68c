"""Which changes and states are worth an alert, by the thresholds of the job file."""

from typing import Literal

from takeoff.nightly.changes import Changes
from takeoff.nightly.history.store import Alert
from takeoff.nightly.job import Alerts


def change_alerts(changes: Changes, alerts: Alerts) -> list[Alert]:
    """Alerts for a measured version: figures that moved too far, new errors, items without a rate."""
    found: list[Alert] = []
    for kind, what, threshold in (
        ("value", "net total", alerts.value_percent),
        ("concrete", "concrete", alerts.concrete_percent),
        ("formwork", "formwork", alerts.formwork_percent),
        ("reinforcement", "reinforcement", alerts.reinforcement_percent),
    ):
        change = changes.total(what)
        percent = change.percent
        if percent is None and change.before == 0 and threshold is not False and (change.after or 0.0) > 0:
            message = f"{what} came from nothing to {change.after:,.2f} {change.unit}"
            found.append(Alert(kind, message, change.after, float(threshold)))
        if percent is not None and _reached(abs(percent), threshold):
            message = (
                f"{what} moved {percent:+.1f} %: {change.before:,.2f} to {change.after:,.2f} {change.unit}"
            )
            found.append(Alert(kind, message, percent, float(threshold)))
    value = changes.total("net total")
    if value.difference is not None and _reached(abs(value.difference), alerts.value_amount):
        message = f"net total moved by {value.difference:+,.2f} {value.unit}"
        found.append(Alert("value-amount", message, value.difference, float(alerts.value_amount)))
    share = changes.total("prefabrication share of volume")
    if share.difference is not None and _reached(abs(share.difference) * 100, alerts.prefabrication_points):
        message = f"prefabrication share moved from {share.before:.1%} to {share.after:.1%} of volume"
        found.append(
            Alert("prefabrication", message, share.difference * 100, float(alerts.prefabrication_points))
        )
    more = "" if value.before is None else " more than before"
    if _reached(changes.new_errors, alerts.new_errors):
        message = f"findings of severity error: {changes.new_errors}{more}"
        found.append(Alert("errors", message, changes.new_errors, float(alerts.new_errors)))
    if _reached(changes.unpriced, alerts.unpriced_items):
        message = f"items without a rate: {changes.unpriced}{more}; the totals are without them"
        found.append(Alert("unpriced", message, changes.unpriced, float(alerts.unpriced_items)))
    return found


def _reached(value: float, threshold: float | Literal[False]) -> bool:
    """Whether a figure that is not zero reaches its threshold."""
    return threshold is not False and value > 1e-9 and value >= threshold
