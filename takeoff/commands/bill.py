"""`takeoff bill`: the main job, measured and priced."""

from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import (
    PATH,
    close,
    measuring,
    page_option,
    pricing,
    problems,
    progress,
    require_page_name,
    scoring_option,
)
from takeoff.commands.hand_back import HandBack, handing_back


@click.command(short_help="The main job: a priced bill as a workbook.")
@click.option("--out", required=True, type=PATH, help="The workbook to write (.xlsx).")
@click.option("--previous", type=PATH, help="Earlier bill (.xlsx): what was typed into it is taken over.")
@click.option("--overwrite", is_flag=True, help="Replace a bill that somebody has worked in.")
@pricing
@scoring_option
@click.option("--csv", "csv_folder", type=PATH, help="Folder for every sheet as CSV.")
@click.option("--parquet", "parquet_folder", type=PATH, help="Folder for every sheet as Parquet.")
@click.option(
    "--arrange",
    type=click.Choice(["trade", "element", "storey"]),
    help="What the sections follow; default: trade.",
)
@click.option("--look", type=PATH, help="Head, fonts, colours and columns of the workbook (TOML).")
@click.option("--words", type=PATH, help="Words of the workbook in another language (TOML).")
@click.option("--alternatives", type=PATH, help="Alternatives (TOML), for --alternative.")
@click.option("--alternative", help="Bill this alternative of the file instead of the model as it is.")
@click.option("--title", help="Title on the summary; default: the names of the models.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help="Paper to print on; default: a4, imperial: letter."
)
@page_option
@handing_back
@measuring
def bill(
    models: tuple[Path, ...],
    out: Path,
    previous: Path | None,
    overwrite: bool,
    csv_folder: Path | None,
    parquet_folder: Path | None,
    page: Path | None,
    alternatives: Path | None,
    alternative: str | None,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """Measure and price MODELS: a bill of quantities workbook with the prefabrication share.

    Example: takeoff bill model.ifc --rates rates.csv --out bill.xlsx
    """
    with problems():
        from takeoff import pipeline
        from takeoff.outputs.workbook.book import write_workbook
        from takeoff.outputs.workbook.look import load_look
        from takeoff.outputs.workbook.untouched import require_not_read, require_untouched
        from takeoff.outputs.workbook.words import load_words
        from takeoff.scored import scheme_of, with_score
        from takeoff.settings import load_settings

        if out.suffix.lower() != ".xlsx":
            raise click.UsageError(f"--out {out}: the bill is a workbook; give it a name that ends in .xlsx")
        require_page_name(page)
        hand_back = HandBack.taken_from(flags, models)
        if (alternatives is None) != (alternative is None):
            raise click.UsageError("--alternative NAME and --alternatives FILE go together; give both")
        if alternative is not None and hand_back.ifc is not None:
            raise click.UsageError("--ifc puts results into the model as it is; leave --alternative out")
        settings = load_settings(job, flags)
        scheme = scheme_of(settings)
        if not overwrite:
            require_untouched(out, "give it as --previous and write to another name")
            require_not_read(out, previous)
        look, words = load_look(settings.file("look")), load_words(settings.file("words"))
        earlier = None
        if previous is not None:
            from takeoff.outputs.workbook.previous.book import read_previous

            earlier = read_previous(previous)
        with progress(quiet) as report:
            if alternatives is not None and alternative is not None:
                from takeoff.comparing import bill_of

                run = bill_of(models, settings, alternatives, alternative, report, earlier)
            else:
                run = pipeline.bill(models, settings, report, earlier)
            report("workbook", 0, 0)
            run = with_score(run, scheme, settings)
            assert run.bill is not None
            write_workbook(out, run.measurement, run.bill, run.record, look, words, run.score)
            for kind, folder in (("csv", csv_folder), ("parquet", parquet_folder)):
                if folder is not None:
                    from takeoff.outputs.frames import bill_frames, write_frames

                    report(kind, 0, 0)
                    frames = bill_frames(run.measurement, run.bill, run.record, run.score)
                    write_frames(folder, frames, run.record, kind, words.decimal)
            if page is not None:
                from takeoff.outputs.page.page import write_page

                report("page", 0, 0)
                write_page(page, run)
            handed_back = hand_back.write(run, report)
        close(run, settings, out, as_json, quiet, page, more=handed_back)
