"""`takeoff measure`: quantities without prices."""

import time
from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import (
    PATH,
    close,
    close_with,
    closing_lines,
    incomplete,
    measuring,
    page_option,
    problems,
    progress,
    require_page_name,
    scoring_option,
    verbose,
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
        from takeoff.cache.written import Written, WrittenBefore
        from takeoff.outputs.run_folder import write_run_folder
        from takeoff.outputs.run_record import plain
        from takeoff.settings import load_settings

        require_page_name(page)
        hand_back = HandBack.taken_from(flags, models)
        settings = load_settings(job, flags)
        tables_only = page is None and hand_back.empty and settings.scoring is None and not verbose()
        began = time.perf_counter()
        before = WrittenBefore(models, settings) if tables_only and settings.cache else None
        kept = before.found() if before is not None else None
        if kept is not None:
            record = kept.record_for(settings, time.perf_counter() - began)
            write_run_folder(out, kept.files, record)
            close_with(record, kept.lines, kept.incomplete, settings, as_json, quiet, (out,))
            return

        from takeoff import pipeline
        from takeoff.outputs.tables import table_files, write_files
        from takeoff.scored import scheme_of, with_score

        scheme = scheme_of(settings)
        with progress(quiet) as report:
            run = with_score(pipeline.measure(models, settings, report), scheme, settings)
            files = table_files(run.measurement, run.places, settings.processes)
            write_files(out, files, run.record, run.score)
            if page is not None:
                from takeoff.outputs.page.page import write_page

                report("page", 0, 0)
                write_page(page, run)
            handed_back = hand_back.write(run, report)
        if before is not None and run.lasting:
            lines, missing = closing_lines(run), tuple(incomplete(run))
            before.keep(Written(files, plain(run.record), lines, missing))
        close(run, settings, out, as_json, quiet, page, more=handed_back)
