"""`takeoff rates`: the rates that models ask for, to be filled in."""

import sys
from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import PATH, measuring, problems, progress


@click.command(short_help="The rates that a bill of the models asks for, to fill in.")
@click.option("--out", required=True, type=PATH, help="The list to write: .csv or .xlsx.")
@click.option("--rates", type=PATH, help="Rates that are known already (CSV or .xlsx).")
@click.option("--resources", type=PATH, help="Prices of labour, plant, materials (CSV or .xlsx).")
@click.option("--sections", type=PATH, help="Sections, items and their wording (TOML).")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units of the bill.")
@click.option("--overwrite", is_flag=True, help="Replace the list if it is there already.")
@measuring
def rates(
    models: tuple[Path, ...],
    out: Path,
    overwrite: bool,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """List the rates that a bill of MODELS asks for, filled with those known, to complete and use as --rates.

    Example: takeoff rates model.ifc --out rates.xlsx
    """
    with problems():
        import json

        from takeoff import pipeline
        from takeoff.outputs.rate_lists import write_rate_list
        from takeoff.pricing.rate_lists import list_rates
        from takeoff.settings import load_settings

        settings = load_settings(job, flags)
        with progress(quiet) as report:
            run = pipeline.bill(models, settings, report)
        assert run.bill is not None
        listed = list_rates(run.bill)
        names = ", ".join(note.model for note in run.notes)
        known = settings.file("rates").name
        heading = f"Rates asked for by {names}, in {run.bill.currency}; known ones from {known}"
        write_rate_list(out, listed, heading, overwrite)
    for finding in run.failed:
        click.echo(f"takeoff: {finding.message}", err=True)
    if as_json:
        click.echo(json.dumps({**run.record, "rates": {"asked": listed.items, "missing": listed.missing}}))
    elif not quiet:
        click.echo(f"{listed.items} rates asked for, {listed.missing} of them missing\nwritten: {out}")
    if listed.missing and settings.strict:
        click.echo(f"takeoff: incomplete: {listed.missing} items without a rate", err=True)
        sys.exit(3)
