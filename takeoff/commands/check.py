"""`takeoff check`: findings only."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeoff.commands.common import PATH, close, measuring, problems, progress, verbose
from takeoff.commands.hand_back import HandBack, topics

if TYPE_CHECKING:
    from takeoff.outputs.requirements import Verdict


@click.command(short_help="Only the findings: what the models do not say.")
@click.option(
    "--ids",
    type=PATH,
    help="Also test the models against an IDS: a file, or `requirements`, the shipped one.",
)
@click.option("--ids-report", type=PATH, help="Write the report on the IDS (.html, .json or .txt).")
@topics
@measuring
def check(
    models: tuple[Path, ...],
    ids: Path | None,
    ids_report: Path | None,
    job: Path | None,
    as_json: bool,
    quiet: bool,
    **flags: Any,
) -> None:
    """List what MODELS do not say, say twice or say wrongly.

    Example: takeoff check model.ifc --ids requirements
    """
    with problems():
        from takeoff import pipeline
        from takeoff.settings import load_settings

        if ids is None and ids_report is not None:
            raise click.UsageError("--ids-report is the report on an IDS; name the IDS with --ids")
        hand_back = HandBack.taken_from(flags, models)
        settings = load_settings(job, flags)
        verdicts = _test(ids, ids_report, models, as_json) if ids is not None else ()
        with progress(quiet) as report:
            run = pipeline.measure(models, settings, report)
            hand_back.write(run, report)
        if not as_json:
            from takeoff.outputs.finding_lines import finding_lines

            for line in finding_lines(run.measurement.findings, every=verbose()):
                click.echo(line)
        unmet = [f"{verdict.model} does not meet {ids}" for verdict in verdicts if not verdict.passed]
        close(run, settings, None, as_json, True, unmet=unmet)


def _test(ids: Path, report: Path | None, models: tuple[Path, ...], as_json: bool) -> "tuple[Verdict, ...]":
    """Test each model and print how it stands; what the findings say of it comes below."""
    from takeoff.model_names import model_names
    from takeoff.outputs.requirements import (
        ids_file,
        report_paths,
        require_report_name,
        verdict_lines,
        verify_model,
    )

    if report is not None:
        require_report_name(report)
    names = model_names(models)
    reports = report_paths(report, list(names.values()))
    verdicts = []
    for (path, name), written in zip(names.items(), reports, strict=True):
        verdict = verify_model(ids_file(ids), path, name, written)
        verdicts.append(verdict)
        # With --json the record of the run has stdout for itself.
        for line in verdict_lines(verdict):
            click.echo(line, err=as_json)
        if written is not None:
            click.echo(f"  written: {written}", err=as_json)
    return tuple(verdicts)
