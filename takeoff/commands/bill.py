"""`takeoff bill`: the main job, measured and priced."""

from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import (
    PATH,
    close,
    measuring,
    page_option,
    problems,
    progress,
    require_page_name,
)


@click.command()
@measuring
@click.option("--out", required=True, type=PATH, help="The workbook to write (.xlsx).")
@click.option("--rates", type=PATH, help="Rates (CSV).")
@click.option("--sections", type=PATH, help="Sections, items and their wording (TOML).")
@click.option("--markups", type=PATH, help="Preliminaries, overheads, contingency, tax (TOML).")
@click.option("--title", help="Title on the summary; default: the names of the models.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="Paper of the print set-up.")
@page_option
def bill(
    models: tuple[Path, ...],
    out: Path,
    page: Path | None,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """Measure and price MODELS: a bill of quantities workbook with the prefabrication share."""
    with problems():
        from takeoff import pipeline
        from takeoff.outputs.workbook.book import write_workbook
        from takeoff.settings import load_settings

        if out.suffix.lower() != ".xlsx":
            raise click.UsageError(f"--out {out}: the bill is a workbook; give it a name that ends in .xlsx")
        require_page_name(page)
        settings = load_settings(job, flags)
        with progress(quiet) as report:
            run = pipeline.bill(models, settings, report)
            assert run.bill is not None
            report("workbook", 0, 0)
            write_workbook(out, run.measurement, run.bill, run.record)
            if page is not None:
                from takeoff.outputs.page.page import write_page

                report("page", 0, 0)
                write_page(page, run)
        close(run, settings, out, as_json, quiet, page)
