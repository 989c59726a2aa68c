"""`takeoff changes`: what a revision did to quantities and price."""

from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import PATH, problems, progress


@click.command(short_help="What a revision did to quantities and money, and why.")
@click.argument("old", type=PATH)
@click.argument("new", type=PATH)
@click.option("--out", required=True, type=PATH, help="The workbook to write (.xlsx).")
@click.option("--overwrite", is_flag=True, help="Replace a workbook that somebody has worked in.")
@click.option("--csv", "folder", type=PATH, help="Folder for the same tables as CSV.")
@click.option("--also-old", multiple=True, type=PATH, help="A further model of the old side.")
@click.option("--also-new", multiple=True, type=PATH, help="A further model of the new side.")
@click.option("--job", type=PATH, help="Job file (TOML) with everything a run needs; flags win over it.")
@click.option("--convention", type=PATH, help="Measuring convention, for models on either side.")
@click.option("--rates", type=PATH, help="Rates (CSV or .xlsx), for models and folders on either side.")
@click.option("--look", type=PATH, help="Head, fonts and colours of the workbook (TOML).")
@click.option("--words", type=PATH, help="Words of the workbook in another language (TOML).")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units, for models and folders.")
@click.option("--json", "as_json", is_flag=True, help="Print the record of the run on stdout.")
@click.option("-q", "--quiet", is_flag=True, help="Print problems only.")
def changes(
    old: Path,
    new: Path,
    out: Path,
    overwrite: bool,
    folder: Path | None,
    also_old: tuple[Path, ...],
    also_new: tuple[Path, ...],
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """Compare OLD and NEW, each a model, a folder of `takeoff measure`, or a bill, by element, item and reason.

    Example: takeoff changes old.ifc new.ifc --rates rates.csv --out changes.xlsx
    """
    with problems():
        import json
        from datetime import UTC, datetime

        from takeoff import __version__
        from takeoff.outputs.changes.book import write_changes
        from takeoff.outputs.changes.tables import write_change_tables
        from takeoff.outputs.workbook.look import load_look
        from takeoff.outputs.workbook.untouched import require_not_read, require_untouched
        from takeoff.outputs.workbook.words import load_words
        from takeoff.pricing.changes import check_sides, find_changes
        from takeoff.settings import load_settings
        from takeoff.sides import load_side

        if out.suffix.lower() != ".xlsx":
            raise click.UsageError(
                f"--out {out}: the changes are a workbook; give it a name that ends in .xlsx"
            )
        if not overwrite:
            require_untouched(out)
            require_not_read(out, old, new)
        settings = load_settings(job, flags)
        look, words = load_look(settings.file("look")), load_words(settings.file("words"))
        with progress(quiet) as report:
            sides = [
                load_side((first, *more), settings, report)
                for first, more in ((old, also_old), (new, also_new))
            ]
            check_sides(sides[0].side, sides[1].side)
            report("comparing", 0, 0)
            found = find_changes(sides[0].side, sides[1].side)
            record: dict[str, object] = {
                "program": "takeoff",
                "version": __version__,
                "created": datetime.now(UTC).isoformat(timespec="seconds"),
                "paper": settings.paper,
                "old": {"name": sides[0].side.name, "kind": sides[0].kind},
                "new": {"name": sides[1].side.name, "kind": sides[1].kind},
                "elements": {
                    status: sum(change.status == status for change in found.elements)
                    for status in ("added", "removed", "changed")
                }
                | {"unchanged": found.unchanged},
                "money_by_reason": found.by_reason,
            }
            write_changes(out, found, record, look, words)
            if folder is not None:
                write_change_tables(folder, found, record)
    for side in sides:
        for finding in side.failed:
            click.echo(f"takeoff: {finding.message}", err=True)
    if as_json:
        click.echo(json.dumps(record, ensure_ascii=False, indent=1))
    elif not quiet:
        counts = record["elements"]
        assert isinstance(counts, dict)
        click.echo("Elements: " + ", ".join(f"{number} {status}" for status, number in counts.items()))
        for reason, money in found.by_reason.items():
            click.echo(f"{reason:>14} {money:>16,.2f} {sides[1].side.currency}".rstrip())
        click.echo(f"{'all':>14} {sum(found.by_reason.values()):>16,.2f} {sides[1].side.currency}".rstrip())
        click.echo(f"\nwritten: {out}" + (f"\nwritten: {folder}" if folder is not None else ""))
