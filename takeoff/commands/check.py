"""`takeoff check`: findings only."""

from pathlib import Path
from typing import Any

import click

from takeoff.commands.common import close, measuring, problems, progress


@click.command()
@measuring
def check(models: tuple[Path, ...], job: Path | None, as_json: bool, quiet: bool, **flags: Any) -> None:
    """List what MODELS do not say, say twice or say wrongly."""
    with problems():
        from takeoff import pipeline
        from takeoff.settings import load_settings

        settings = load_settings(job, flags)
        with progress(quiet) as report:
            run = pipeline.measure(models, settings, report)
        if not as_json:
            for finding in run.measurement.findings:
                where = f"{finding.model} {finding.global_id}".strip()
                assumed = f" (assumed: {finding.assumed})" if finding.assumed else ""
                click.echo(f"{finding.severity}: {finding.kind}: {where}: {finding.message}{assumed}")
        close(run, settings, None, as_json, True)
