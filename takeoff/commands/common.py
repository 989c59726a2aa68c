"""What all commands share: the measuring options, problems as one line, progress, the closing words.

Exit codes: 0 done; 1 nothing could be produced; 2 wrong usage; 3 produced but incomplete, with --strict.
"""

import json
import math
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from takeoff.commands.standard_output import Ended, Unsaid
from takeoff.findings import InputError
from takeoff.isolation.forking import short_of_memory
from takeoff.settings import LONGEST_SECONDS
from takeoff.told import counted

if TYPE_CHECKING:
    from takeoff.pipeline import Progress, Run
    from takeoff.settings import Settings


class Figure(click.FloatRange):
    """A number between bounds; the library's own range lets through what is no number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number. Raises a usage error where it is none."""
        figure = float(super().convert(value, param, ctx))
        if math.isnan(figure):
            self.fail(f"{value!r} is not a valid float.", param, ctx)
        return figure


PATH = click.Path(path_type=Path, readable=False)
"""A path. Whether it can be read is told by whoever reads it, and costs no more than that file."""

VERBOSE = "takeoff.verbose"
"""Where a command's context keeps whether -v was given."""

page_option = click.option(
    "--page", type=PATH, help="Also write a page to look at: the model with its figures, one HTML file."
)

scoring_option = click.option(
    "--scoring",
    type=PATH,
    help="Scheme of points (TOML), or a shipped one by name: the score with its working.",
)


def verbose() -> bool:
    """Whether -v was given to the command that runs."""
    return bool(click.get_current_context().meta.get(VERBOSE, False))


def require_page_name(page: Path | None) -> None:
    """Raise a usage error for a page that no browser would know by its name."""
    if page is not None and page.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"{page}: the page is read by a browser; give it a name that ends in .html")


def measuring(command: Callable[..., None]) -> Callable[..., None]:
    """The arguments and options that all measuring commands share."""
    options = [
        click.argument("models", nargs=-1, required=True, type=PATH),
        click.option(
            "--job", type=PATH, help="Job file (TOML) with everything a run needs; flags win over it."
        ),
        click.option(
            "--convention", type=PATH, help="Measuring convention: a file, or a shipped one by name."
        ),
        click.option(
            "--methods", type=PATH, help="Rules that tell cast-in-place, precast and tilt-up apart."
        ),
        click.option(
            "--overrides", type=PATH, help="CSV of methods by global_id or mark; wins over all rules."
        ),
        click.option("--finishes", type=PATH, help="Classes of formed finish (TOML)."),
        click.option("--allowances", type=PATH, help="Reinforcement allowances (CSV)."),
        click.option("--handling", type=PATH, help="Densities, transport and lifting limits (TOML)."),
        click.option(
            "--joints", type=PATH, help="What goes into joints, connections, least bearings (TOML)."
        ),
        click.option("--panelling", type=PATH, help="How long walls and whole floors are divided (TOML)."),
        click.option("--checks", type=PATH, help="Limits of the plausibility checks (TOML)."),
        click.option("--questions", type=PATH, help="What to ask about each kind of finding (TOML)."),
        click.option(
            "--ground-level",
            type=Figure(-12_000, 12_000),
            metavar="METRES",
            help="Level of the ground above the models' zero, metres; default: found in the model.",
        ),
        click.option(
            "--processes",
            type=click.IntRange(1, 64),
            metavar="NUMBER",
            help="Worker processes for geometry; default: one a core, at most 8.",
        ),
        click.option(
            "--limit-seconds",
            type=Figure(0.1, LONGEST_SECONDS),
            metavar="SECONDS",
            help="How long one element may take before it is given up; default: 60.",
        ),
        click.option(
            "--cache/--no-cache",
            default=None,
            help="Take what was measured before from the user's cache folder; default: yes.",
        ),
        click.option(
            "--strict",
            is_flag=True,
            default=None,
            help="Exit with 3 when something is unpriced, unresolved or unmeasured.",
        ),
        click.option("--json", "as_json", is_flag=True, help="Print the record of the run on stdout."),
        click.option("-q", "--quiet", is_flag=True, help="Print problems only."),
        click.option(
            "-v",
            "--verbose",
            is_flag=True,
            expose_value=False,
            callback=lambda context, _, given: context.meta.update({VERBOSE: given}),
            help="Print all kinds of findings, the data files used and the time of each stage.",
        ),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def pricing(command: Callable[..., None]) -> Callable[..., None]:
    """The options that all pricing commands share."""
    options = [
        click.option("--rates", type=PATH, help="Rates (CSV or .xlsx)."),
        click.option("--resources", type=PATH, help="Prices that rates are built up of (CSV or .xlsx)."),
        click.option("--sections", type=PATH, help="Sections, items and their wording (TOML)."),
        click.option("--markups", type=PATH, help="Preliminaries, overheads, contingency, tax (TOML)."),
        click.option(
            "--units", type=click.Choice(["metric", "imperial"]), help="Units of the items; default: metric."
        ),
    ]
    for option in reversed(options):
        command = option(command)
    return command


@contextmanager
def problems() -> Iterator[None]:
    """Turn what a user can mend into one line on stderr and exit code 1; a fault of the program too, unless -v."""
    try:
        yield
    except InputError as error:
        _fail(str(error))
    except KeyboardInterrupt as asked:
        click.echo("takeoff: stopped; nothing was written", err=True)
        sys.exit(asked.code if isinstance(asked, Ended) else 130)
    except MemoryError:
        _fail("there is not enough memory for it; end other programs, or measure fewer models at once")
    except (click.ClickException, click.Abort, click.exceptions.Exit, BrokenPipeError, Unsaid):
        raise
    except Exception as fault:
        if verbose():
            raise
        words = " ".join(str(fault).split())[:200]
        if little := short_of_memory():  # then libraries fail in whatever way comes first
            _fail(little)
        _fail(
            f"a fault of the program ({type(fault).__name__}: {words}); tell its makers, with the output of -v"
        )


def _fail(message: str) -> NoReturn:
    for line in message.splitlines():
        click.echo(f"takeoff: {line}", err=True)
    sys.exit(1)


@contextmanager
def progress(quiet: bool) -> "Iterator[Progress]":
    """A progress line by stage on a terminal, silence in a pipe; a plain line a stage with -v."""
    moving = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
    if quiet or not (moving or verbose()):
        yield lambda stage, done, total: None
        return
    from takeoff.outputs.progress import progress_line, progress_lines

    with progress_lines() if verbose() else progress_line() as report:
        yield report


def close(
    run: "Run",
    settings: "Settings",
    out: Path | None,
    as_json: bool,
    quiet: bool,
    page: Path | None = None,
    *,
    more: Sequence[Path] = (),
    unmet: Sequence[str] = (),
) -> None:
    """Say what was done and leave with the right code; `more` was written besides, `unmet` makes it incomplete."""
    for finding in run.failed:
        click.echo(f"takeoff: {finding.message}", err=True)
    lines = () if as_json or quiet else closing_lines(run, all_kinds=verbose())
    close_with(run.record, lines, [*incomplete(run), *unmet], settings, as_json, quiet, (out, page, *more))


def closing_lines(run: "Run", all_kinds: bool = False) -> tuple[str, ...]:
    """The closing words of a run."""
    from takeoff.outputs.summary import summary_lines

    return summary_lines(run.measurement, run.bill, run.shares, all_kinds=all_kinds, score=run.score)


def close_with(
    record: Mapping[str, Any],
    lines: Sequence[str],
    missing: Sequence[str],
    settings: "Settings",
    as_json: bool,
    quiet: bool,
    written: Sequence[Path | None],
) -> None:
    """Say what was done, from a record, closing words and what is missing, and leave with the right code."""
    from takeoff.outputs.terminal import print_lines

    if as_json:
        click.echo(json.dumps(record, ensure_ascii=False, indent=1))
    elif not quiet:
        print_lines(lines)
        if verbose():
            print_lines(["", *(f"{entry['what']}: {entry['file']}" for entry in record["inputs"])])
        paths = [str(path) for path in written if path is not None]
        if paths:
            click.echo(f"\nwritten: {', '.join(paths)}")
    if missing and settings.strict:
        click.echo(f"takeoff: incomplete: {', '.join(missing)}", err=True)
        sys.exit(3)


def incomplete(run: "Run") -> list[str]:
    """What keeps the result from being complete, in words."""
    parts = run.measurement.parts
    unresolved = len({part.global_id for part in parts if part.method == "unresolved"})
    unmeasured = len({part.global_id for part in parts if part.condition.startswith("not measured")})
    unpriced = len(run.bill.unpriced) if run.bill is not None else 0
    found = [
        (unpriced, "item without a rate", "items without a rate"),
        (unresolved, "element of unresolved method", "elements of unresolved method"),
        (unmeasured, "element not measured", "elements not measured"),
        (len(run.failed), "model not read", "models not read"),
    ]
    return [counted(number, one, several) for number, one, several in found if number]
