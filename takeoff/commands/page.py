"""`takeoff page`: the model with its bill as one HTML file to look at."""

from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import (
    PATH,
    close,
    measuring,
    pricing,
    problems,
    progress,
    require_page_name,
    scoring_option,
)


@click.command(short_help="A page to look at: model, bill and findings in one file.")
@click.option("--out", required=True, type=PATH, help="The page to write (.html).")
@pricing
@scoring_option
@click.option("--title", help="Title of the page; default: the names of the models.")
@measuring
def page(
    models: tuple[Path, ...], out: Path, job: Path | None, as_json: bool, quiet: bool, **flags: Any
) -> None:
    """Measure and price MODELS: a page with the model, what is formed, the bill and the findings.

    Example: takeoff page model.ifc --out page.html
    """
    with problems():
        from takeoff import pipeline
        from takeoff.outputs.page.page import write_page
        from takeoff.scored import scheme_of, with_score
        from takeoff.settings import load_settings

        require_page_name(out)
        settings = load_settings(job, flags)
        scheme = scheme_of(settings)
        with progress(quiet) as report:
            run = with_score(pipeline.bill(models, settings, report), scheme, settings)
            report("page", 0, 0)
            write_page(out, run)
        close(run, settings, out, as_json, quiet)
