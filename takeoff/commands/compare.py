"""`takeoff compare`: alternatives to the model, measured by one engine and priced side by side."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import (
    PATH,
    measuring,
    page_option,
    pricing,
    problems,
    progress,
    require_page_name,
    scoring_option,
)
from takeoff.told import counted


@click.command(short_help="Precast, tilt-up or cast in place: priced and timed side by side.")
@click.option("--alternatives", type=PATH, help="Alternatives (TOML): what is made otherwise, and how.")
@click.option("--out", required=True, type=PATH, help="The workbook to write (.xlsx).")
@click.option("--overwrite", is_flag=True, help="Replace a workbook that somebody has worked in.")
@click.option("--csv", "tables", type=PATH, help="Folder for the same as CSV tables.")
@click.option(
    "--base", default="", help="Name of the alternative to compare with; default: the model as it is."
)
@click.option("--production", type=PATH, help="Production rates and site costs (TOML).")
@click.option("--carbon", type=PATH, help="Embodied carbon factors (CSV): adds columns of carbon.")
@click.option(
    "--break-even",
    multiple=True,
    help="An item key, pattern or resource: at which rate do the alternatives cost the same? Repeatable.",
)
@click.option(
    "--draws",
    type=click.IntRange(100, 1_000_000),
    metavar="NUMBER",
    help="How often the figures in doubt are drawn.",
)
@click.option(
    "--seed",
    type=click.IntRange(0),
    metavar="NUMBER",
    help="Seed of the draws: the same gives the same result.",
)
@pricing
@click.option("--look", type=PATH, help="Head, fonts and colours of the workbook (TOML).")
@click.option("--title", help="Title on the summary; default: the names of the models.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help="Paper to print on; default: a4, imperial: letter."
)
@scoring_option
@page_option
@measuring
def compare(
    models: tuple[Path, ...],
    alternatives: Path | None,
    out: Path,
    overwrite: bool,
    tables: Path | None,
    base: str | None,
    production: Path | None,
    carbon: Path | None,
    break_even: tuple[str, ...],
    draws: int | None,
    seed: int | None,
    page: Path | None,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """Compare ways to build MODELS: cast in place, precast, tilt-up, and what each costs and takes.

    Example: takeoff compare model.ifc --alternatives alternatives.toml --out comparison.xlsx
    """
    with problems():
        from takeoff.compare_job import load_choice
        from takeoff.comparing import compare as compare_all
        from takeoff.outputs.comparison.book import write_comparison
        from takeoff.outputs.comparison.closing import comparison_lines
        from takeoff.outputs.comparison.tables import summary_record, write_comparison_tables
        from takeoff.outputs.workbook.look import load_look
        from takeoff.outputs.workbook.untouched import require_untouched
        from takeoff.settings import load_settings

        if out.suffix.lower() != ".xlsx":
            raise click.UsageError(
                f"--out {out}: the comparison is a workbook; give it a name that ends in .xlsx"
            )
        require_page_name(page)
        if not overwrite:
            require_untouched(out)
        settings = load_settings(job, flags)
        asked = {
            "alternatives": alternatives,
            "base": base,
            "production": production,
            "carbon": carbon,
            "break_even": break_even,
            "draws": draws,
            "seed": seed,
        }
        choice = load_choice(job, asked)
        with progress(quiet) as report:
            comparison, run = compare_all(models, settings, choice, report)
            report("workbook", 0, 0)
            write_comparison(out, comparison, load_look(settings.file("look")))
            if tables is not None:
                write_comparison_tables(tables, comparison)
            if page is not None:
                from takeoff.outputs.page.page import write_comparison_page

                report("page", 0, 0)
                write_comparison_page(page, run, comparison)
        for finding in run.failed:
            click.echo(f"takeoff: {finding.message}", err=True)
        if as_json:
            click.echo(json.dumps(summary_record(comparison), ensure_ascii=False, indent=1))
        elif not quiet:
            for line in comparison_lines(comparison):
                click.echo(line)
            written = [str(path) for path in (out, tables, page) if path is not None]
            click.echo(f"\nwritten: {', '.join(written)}")
        unpriced = max(total.unpriced for total in comparison.totals)
        errors = sum(finding.severity == "error" for finding in comparison.findings)
        if settings.strict and (unpriced or errors or run.failed):
            told = [f"{unpriced} items without a rate", f"{errors} errors in the alternatives"]
            told.append(f"{counted(len(run.failed), 'model')} not read")
            click.echo(f"takeoff: incomplete: {', '.join(told)}", err=True)
            sys.exit(3)
