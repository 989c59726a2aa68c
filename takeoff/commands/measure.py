"""`takeoff measure`: quantities without prices."""

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
    scoring_option,
)
from takeoff.commands.hand_back import HandBack, handing_back


@click.command(short_help="Quantities as CSV tables, without prices.")
@click.option("--out", required=True, type=PATH, help="Folder for the tables.")
@scoring_option
@page_option
@handing_back
@measuring
def measure(
    models: tuple[Path, ...],
    out: Path,
    page: Path | None,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """Measure MODELS: elements, formwork, pieces and findings as CSV, without prices.

    Example: takeoff measure model.ifc --convention voids-left-in --out tables
    """
    with problems():
        from takeoff import pipeline
        from takeoff.outputs.tables import write_tables
        from takeoff.scored import scheme_of, with_score
        from takeoff.settings import load_settings

        require_page_name(page)
        hand_back = HandBack.taken_from(flags, models)
        settings = load_settings(job, flags)
        scheme = scheme_of(settings)
        with progress(quiet) as report:
            run = with_score(pipeline.measure(models, settings, report), scheme, settings)
            write_tables(out, run.measurement, run.record, run.places, run.score)
            if page is not None:
                from takeoff.outputs.page.page import write_page

                report("page", 0, 0)
                write_page(page, run)
            handed_back = hand_back.write(run, report)
        close(run, settings, out, as_json, quiet, page, more=handed_back)
