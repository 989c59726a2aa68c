"""Reading versions back from the history."""

from sqlalchemy import Connection, select

from takeoff.nightly.history.schema import details, inputs, versions
from takeoff.nightly.tables import COLUMNS, TOTALS, Tables


def read_version(connection: Connection, version: int) -> Tables:
    """The tables of a version as they were measured (elements and findings only while they are kept)."""
    row = connection.execute(select(versions).where(versions.c.id == version)).one()._mapping
    rows = {}
    for name, table in details.items():
        columns = [table.c[column] for column in COLUMNS[name]]
        query = select(*columns).where(table.c.version_id == version).order_by(table.c.position)
        rows[name] = [tuple(values) for values in connection.execute(query)]
    return Tables({name: row[name] for name in TOTALS}, rows)


def changed_rules(connection: Connection, version: int, now: dict[str, str]) -> list[str]:
    """Names of rules in which `now` differs from those that a version was made by."""
    query = select(inputs.c.name, inputs.c.value).where(
        inputs.c.version_id == version, inputs.c.kind == "rule"
    )
    before = {row.name: row.value for row in connection.execute(query)}
    return sorted(name for name in {*before, *now} if before.get(name) != now.get(name))
