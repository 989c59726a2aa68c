"""`takeoff nightly`: a folder of models, measured when they change, remembered, reported."""

import signal
import sys
import threading
import traceback
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from takeoff.commands.common import PATH
from takeoff.findings import InputError

if TYPE_CHECKING:
    from takeoff.nightly.job import NightlyJob
    from takeoff.nightly.log import Log
    from takeoff.nightly.run import Session
    from takeoff.nightly.workers import Workers

NOTHING_TO_SEE, FAILED, SOMETHING_TO_SEE = 0, 1, 3


@click.command(short_help="A shared folder of models, measured anew when they change.")
@click.argument("folder", type=PATH)
@click.option("--out", required=True, type=PATH, help="Folder for bills, reports and the history.")
@click.option(
    "--job", type=PATH, help="Job file (TOML) with a [nightly] table; see templates/nightly-job.toml."
)
@click.option("--history", default="", help="Database URL of the history; default: history.sqlite in --out.")
@click.option("--cluster", default="", help="Address of a Dask scheduler whose workers measure (tcp://...).")
@click.option("--watch", is_flag=True, help="Stay and look again every few minutes.")
@click.option("--log-json", is_flag=True, help="Log as JSON lines on standard error.")
@click.option("--json", "as_json", is_flag=True, help="Print the report on standard output as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="Log problems only.")
def nightly(
    folder: Path, out: Path, job: Path | None, history: str, cluster: str, watch: bool, log_json: bool,
    as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Measure and price the models in FOLDER that are new or changed, and report what changed.

    Example: takeoff nightly models --job nightly-job.toml --out results

    Exit codes: 0 nothing to see; 3 alerts were raised; 1 the run failed.
    """
    from takeoff.nightly.log import Log

    log = Log(log_json, quiet)
    signal.signal(signal.SIGTERM, _stop)
    code = FAILED
    try:
        code = _passes(folder, out, job, history, cluster, watch, as_json, log)
    except InputError as fault:
        for line in str(fault).splitlines():
            log("error", "failed", line)
    except KeyboardInterrupt:
        log("warning", "stopped", "stopped; what was finished is kept, the next run goes on")
        code = 130
    sys.exit(code)


def _stop(number: int, frame: FrameType | None) -> None:
    del number, frame
    raise KeyboardInterrupt


def _passes(
    folder: Path,
    out: Path,
    job_file: Path | None,
    history: str,
    cluster: str,
    watch: bool,
    as_json: bool,
    log: "Log",
) -> int:
    from sqlalchemy.exc import SQLAlchemyError

    from takeoff.collector import goes_on
    from takeoff.nightly.job import load_job
    from takeoff.nightly.place import find_place
    from takeoff.nightly.report import failure_report
    from takeoff.nightly.run import session
    from takeoff.nightly.telling import tell

    job, _ = load_job(job_file)
    place = find_place(folder, out, job, history)
    goes_on()
    pause = threading.Event()
    told = ""
    while True:
        try:
            with session(place, log) as held:
                code = _pass(held, job_file, cluster, as_json, log, idle=True)
                while watch:
                    pause.wait(load_job(job_file)[0].watch_minutes * 60.0)
                    code = _pass(held, job_file, cluster, as_json, log, idle=False)
                return code
        except InputError as fault:
            if fault.__cause__ is not None and not isinstance(fault.__cause__, OSError | SQLAlchemyError):
                trace = traceback.format_exception(fault.__cause__)
                log("info", "trace", trace[-1].strip(), trace="".join(trace))
            if str(fault) != told:  # a run that watches tells one and the same failure once
                tell(failure_report(str(fault), place.job_name, place.folder), job, log)
                told = str(fault)
            if not watch:
                raise
            log("error", "failed", str(fault))
            pause.wait(job.watch_minutes * 60.0)


def _pass(held: "Session", job_file: Path | None, cluster: str, as_json: bool, log: "Log", idle: bool) -> int:
    """One look at the folder, its report written and told. The job file is read anew each time."""
    from takeoff.nightly.job import load_job
    from takeoff.nightly.report import json_text
    from takeoff.nightly.telling import tell
    from takeoff.settings import load_settings

    job, has_processes = load_job(job_file)
    settings = load_settings(job_file, {})
    processes = settings.processes if has_processes else max(1, settings.processes // job.models_at_once)
    finished = held.run_pass(settings, job, processes, lambda: _workers(job, cluster), idle=idle)
    if finished is None:
        return NOTHING_TO_SEE
    report = held.report(finished, job.report_link)
    told = tell(report, job, log)
    now = datetime.now(UTC)
    held.close(finished, report, now)
    held.tidy(job, now)
    log(
        "info",
        "report",
        f"report: {held.place.out / 'report.html'}",
        summary=report.summary,
        run=finished.run,
    )
    if as_json:
        click.echo(json_text(report), nl=False)
    elif not log.as_json:
        click.echo(report.summary)
    return SOMETHING_TO_SEE if report.loud or not told else NOTHING_TO_SEE


def _workers(job: "NightlyJob", cluster: str) -> "Workers":
    from takeoff.nightly.workers import ClusterWorkers, LocalWorkers

    return ClusterWorkers(cluster) if cluster else LocalWorkers(job.models_at_once)
