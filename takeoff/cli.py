"""Arguments and exit codes; the work is done elsewhere.

Exit codes: 0 done; 1 nothing could be produced; 2 wrong usage; 3 produced but incomplete, with --strict.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from takeoff import __version__
from takeoff.findings import InputError

if TYPE_CHECKING:
    from takeoff.pipeline import Progress, Run
    from takeoff.settings import Settings

_PATH = click.Path(path_type=Path)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="takeoff")
def main() -> None:
    """Quantities and a priced bill for concrete structures, measured from IFC building models."""


def _measuring(command: Callable[..., None]) -> Callable[..., None]:
    """The arguments and options that all measuring commands share."""
    options = [
        click.argument("models", nargs=-1, required=True, type=_PATH),
        click.option(
            "--job", type=_PATH, help="Job file (TOML) with everything a run needs; flags win over it."
        ),
        click.option(
            "--convention", type=_PATH, help="Measuring convention: a file, or a shipped one by name."
        ),
        click.option(
            "--methods", type=_PATH, help="Rules that tell cast-in-place, precast and tilt-up apart."
        ),
        click.option(
            "--overrides", type=_PATH, help="CSV of methods by global_id or mark; wins over all rules."
        ),
        click.option("--allowances", type=_PATH, help="Reinforcement allowances (CSV)."),
        click.option("--handling", type=_PATH, help="Densities, transport and lifting limits (TOML)."),
        click.option("--checks", type=_PATH, help="Limits of the plausibility checks (TOML)."),
        click.option("--processes", type=click.IntRange(1, 64), help="Worker processes for geometry."),
        click.option(
            "--limit-seconds", type=click.FloatRange(0.1), help="Patience with one element; default 60."
        ),
        click.option(
            "--strict", is_flag=True, default=None, help="Exit with 3 when the result is incomplete."
        ),
        click.option("--json", "as_json", is_flag=True, help="Print the record of the run on stdout."),
        click.option("-q", "--quiet", is_flag=True, help="Print problems only."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


@main.command()
@_measuring
@click.option("--out", required=True, type=_PATH, help="Folder for the tables.")
def measure(
    models: tuple[Path, ...], out: Path, job: Path | None, as_json: bool, quiet: bool, **flags: Any
) -> None:
    """Measure MODELS: elements, formwork, pieces and findings as CSV, without prices."""
    with _problems():
        from takeoff import pipeline
        from takeoff.outputs.tables import write_tables
        from takeoff.settings import load_settings

        settings = load_settings(job, flags)
        with _progress(quiet) as progress:
            run = pipeline.measure(models, settings, progress)
            write_tables(out, run.measurement, run.record)
        _close(run, settings, out, as_json, quiet)


@main.command()
@_measuring
@click.option("--out", required=True, type=_PATH, help="The workbook to write (.xlsx).")
@click.option("--rates", type=_PATH, help="Rates (CSV).")
@click.option("--sections", type=_PATH, help="Sections, items and their wording (TOML).")
@click.option("--markups", type=_PATH, help="Preliminaries, overheads, contingency, tax (TOML).")
@click.option("--title", help="Title on the summary; default: the names of the models.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="Paper of the print set-up.")
def bill(
    models: tuple[Path, ...], out: Path, job: Path | None, as_json: bool, quiet: bool, **flags: Any
) -> None:
    """Measure and price MODELS: a bill of quantities workbook with the prefabrication share."""
    with _problems():
        from takeoff import pipeline
        from takeoff.outputs.workbook.book import write_workbook
        from takeoff.settings import load_settings

        if out.suffix.lower() != ".xlsx":
            raise click.UsageError(f"--out {out}: the bill is a workbook; give it a name that ends in .xlsx")
        settings = load_settings(job, flags)
        with _progress(quiet) as progress:
            run = pipeline.bill(models, settings, progress)
            assert run.bill is not None
            progress("workbook", 0, 0)
            write_workbook(out, run.measurement, run.bill, run.record)
        _close(run, settings, out, as_json, quiet)


@main.command()
@_measuring
def check(models: tuple[Path, ...], job: Path | None, as_json: bool, quiet: bool, **flags: Any) -> None:
    """List what MODELS do not say, say twice or say wrongly."""
    with _problems():
        from takeoff import pipeline
        from takeoff.settings import load_settings

        settings = load_settings(job, flags)
        with _progress(quiet) as progress:
            run = pipeline.measure(models, settings, progress)
        if not as_json:
            for finding in run.measurement.findings:
                where = f"{finding.model} {finding.global_id}".strip()
                assumed = f" (assumed: {finding.assumed})" if finding.assumed else ""
                click.echo(f"{finding.severity}: {finding.kind}: {where}: {finding.message}{assumed}")
        _close(run, settings, None, as_json, True)


@main.command()
@click.argument("folder", type=_PATH)
def templates(folder: Path) -> None:
    """Copy the data files that a user edits to FOLDER."""
    with _problems():
        from takeoff.outputs.template_copies import copy_templates

        for path in copy_templates(folder):
            click.echo(path)


@contextmanager
def _problems() -> Iterator[None]:
    """Turn what a user can mend into one line on stderr and exit code 1."""
    try:
        yield
    except InputError as error:
        _fail(str(error))
    except KeyboardInterrupt:
        click.echo("takeoff: stopped; nothing was written", err=True)
        sys.exit(130)


def _fail(message: str) -> NoReturn:
    for line in message.splitlines():
        click.echo(f"takeoff: {line}", err=True)
    sys.exit(1)


@contextmanager
def _progress(quiet: bool) -> "Iterator[Progress]":
    """A progress line by stage on a terminal, silence in a pipe."""
    if quiet or not sys.stderr.isatty():
        yield lambda stage, done, total: None
        return
    from takeoff.outputs.progress import progress_line

    with progress_line() as report:
        yield report


def _close(run: "Run", settings: "Settings", out: Path | None, as_json: bool, quiet: bool) -> None:
    """Say what was done and leave with the right code."""
    from takeoff.outputs.summary import summary_lines

    for finding in run.failed:
        click.echo(f"takeoff: {finding.message}", err=True)
    if as_json:
        click.echo(json.dumps(run.record, ensure_ascii=False, indent=1))
    elif not quiet:
        for line in summary_lines(run.measurement, run.bill, run.shares):
            click.echo(line)
        if out is not None:
            click.echo(f"\nwritten: {out}")
    missing = _incomplete(run)
    if missing and settings.strict:
        click.echo(f"takeoff: incomplete: {', '.join(missing)}", err=True)
        sys.exit(3)


def _incomplete(run: "Run") -> list[str]:
    """What keeps the result from being complete, in words."""
    parts = run.measurement.parts
    unresolved = len({part.global_id for part in parts if part.method == "unresolved"})
    unmeasured = len({part.global_id for part in parts if part.condition.startswith("not measured")})
    unpriced = len(run.bill.unpriced) if run.bill is not None else 0
    counted = [
        (unpriced, "items without a rate"),
        (unresolved, "elements of unresolved method"),
        (unmeasured, "elements not measured"),
        (len(run.failed), "models not read"),
    ]
    return [f"{number} {words}" for number, words in counted if number]
