"""One pass over the model folder: find, decide, measure, remember, tell. Only this writes."""

import contextlib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from msgspec import Struct
from msgspec.structs import replace
from sqlalchemy.exc import SQLAlchemyError

from takeoff.findings import InputError
from takeoff.nightly.alerts import change_alerts
from takeoff.nightly.changes import Changes, compare
from takeoff.nightly.child import fault_words
from takeoff.nightly.decisions import Decision, changed_files, decide, missing_models
from takeoff.nightly.finished import Pass
from takeoff.nightly.folder import list_models
from takeoff.nightly.history.database import alone, open_database, words
from takeoff.nightly.history.known import KnownModel
from takeoff.nightly.history.reading import changed_rules, read_version
from takeoff.nightly.history.store import Alert, History, VersionPlace
from takeoff.nightly.job import NightlyJob
from takeoff.nightly.lock import hold
from takeoff.nightly.log import Log
from takeoff.nightly.models import group_files
from takeoff.nightly.names import shown
from takeoff.nightly.order import Limits, Order, PinnedRules, pin_rules
from takeoff.nightly.outcome import Outcome, unpack
from takeoff.nightly.outputs import Outputs
from takeoff.nightly.place import Place
from takeoff.nightly.remarks import remarks_on
from takeoff.nightly.report import Report, failure_report, make_report
from takeoff.nightly.stillness import moving_files
from takeoff.nightly.telling import write_failure, write_report
from takeoff.nightly.workers import Workers
from takeoff.settings import Settings

Clock = Callable[[], datetime]


def _utc_now() -> datetime:
    return datetime.now(UTC)


class _Look(Struct, frozen=True):
    """A look at the folder: a decision for each model that is there, those that are gone, and remarks."""

    decisions: tuple[Decision, ...]
    gone: tuple[KnownModel, ...]
    remarks: tuple[str, ...]


@contextmanager
def session(place: Place, log: Log) -> Iterator["Session"]:
    """A job held against other runs, its history open. Raises InputError when that can't be had."""
    outputs = Outputs(place.out)
    try:
        place.out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(f"{place.out}: cannot be written ({fault.strerror}); give another place") from fault
    with hold(place.out) as died, told_when_it_fails(place):
        try:
            outputs.prepare()
        except OSError as fault:
            raise _not_written(place, fault) from fault
        engine = open_database(place.url)
        try:
            with alone(engine, place.job_name) as held:
                if died:
                    log("warning", "dead-run", died)
                yield Session(place, outputs, History(engine, shown(place.job_name), held), log)
        except SQLAlchemyError as fault:
            raise InputError(f"history: {words(fault)}; what was finished is kept, run again") from fault
        except OSError as fault:
            raise _not_written(place, fault) from fault
        finally:
            outputs.close()
            engine.dispose()


@contextmanager
def told_when_it_fails(place: Place) -> Iterator[None]:
    """A run that fails leaves a page that says so in the place of the report, so that none is read as today's.

    Faults that nobody foresaw become an InputError too: the office is told of them as of any other.
    """
    try:
        yield
    except InputError as fault:
        write_failure(failure_report(str(fault), shown(place.job_name), place.folder), place.out)
        raise
    except Exception as fault:
        told = InputError(
            f"the program stumbled ({fault_words(fault)}); what was finished is kept, run again"
        )
        write_failure(failure_report(str(told), shown(place.job_name), place.folder), place.out)
        raise told from fault


def _not_written(place: Place, fault: OSError) -> InputError:
    why = fault.strerror or str(fault)
    return InputError(
        f"{fault.filename or place.out}: cannot be written or read ({why}); what was finished is kept, run again"
    )


class Session:
    """Passes over one model folder while it is held."""

    def __init__(self, place: Place, outputs: Outputs, history: History, log: Log) -> None:
        self.place = place
        self.outputs = outputs
        self.history = history
        self.log = log
        self._after_dead = False

    def run_pass(
        self, settings: Settings, job: NightlyJob, processes: int, workers: Callable[[], Workers],
        clock: Clock = _utc_now, idle: bool = True,
    ) -> Pass | None:  # fmt: skip
        """Look at the folder once and measure what has to be. None when there was nothing and not `idle`.

        `processes` measure the geometry of one model; `workers` are made when there is something to measure.
        Raises InputError when nothing can be done; models that fail do not stop the rest.
        """
        began = clock()
        rules = pin_rules(settings, processes)
        look = self._look(job, rules.key, began)
        for place in self.history.unpublished():
            self._put_in_sight(place)
        if not idle and not look.gone and not any(map(_is_news, look.decisions)):
            return None
        run, dead = self.history.start_run(began)
        self._after_dead |= bool(dead)
        for moment in dead:
            told = f"the run of {moment:%Y-%m-%d %H:%M} UTC died; going on"
            self.log("warning", "run-interrupted", told, run=run)
        try:
            numbers = self._see(run, look, job, began)
            counts = self._measure(run, look.decisions, numbers, rules, job, workers, clock)
        except BaseException as fault:
            with contextlib.suppress(SQLAlchemyError):
                state = "stopped" if isinstance(fault, KeyboardInterrupt) else "failed"
                said = {} if state == "stopped" else {"summary": shown(str(fault))}
                self.history.finish_run(run, state, clock(), said)
            raise
        actions = Counter(decision.action for decision in look.decisions)
        return Pass(
            run, began, len(look.decisions), actions["unchanged"], counts["measured"], counts["failed"],
            actions["waiting"] + counts["moved"], len(look.gone), look.remarks,
            (clock() - began).total_seconds(),
        )  # fmt: skip

    def report(self, finished: Pass, link: str = "") -> Report:
        """The report of a pass, in place in the output folder; `link` is how a mail leads there."""
        report = self.history.read(
            lambda connection: make_report(
                connection, self.history.job, finished, shown(self.place.job_name), self.place.folder, link
            )
        )
        write_report(report, self.outputs, finished.run)
        return report

    def close(self, finished: Pass, report: Report, now: datetime) -> None:
        """Close a pass whose report was told: until then the next report would tell it again."""
        totals = report.data["totals"]
        figures = {name: getattr(finished, name) for name in
                   ("models", "measured", "unchanged", "failed", "waiting", "removed")}  # fmt: skip
        self.history.finish_run(
            finished.run,
            "done",
            now,
            {
                **figures,
                "alerts": len(report.data["alerts"]),
                "net_total": totals["net-total"],
                "net_volume_m3": totals["concrete"],
                "share_volume": totals["prefabrication"],
                "summary": report.summary,
            },
        )

    def _look(self, job: NightlyJob, rules: str, now: datetime) -> "_Look":
        """What there is and what is to be done with it; reads only."""
        folder = self.place.folder
        known = self.history.known()
        listing = list_models(folder, job.include, job.exclude, job.subfolders)
        found, remarks = group_files(listing.files, job.group, job.together == "by-folder")
        there = sum(not model.removed for model in known.values())
        if not found and there:
            raise InputError(
                f"{folder}: holds no model, but {there} were there before; is the share mounted?"
            )
        changed, waited = changed_files(found, known, job.trust_times)
        moving = moving_files(folder, changed, waited, job.settle_seconds)
        longest = timedelta(days=job.retry_longest_days)
        decisions = decide(folder, listing, found, known, moving, rules, job.trust_times, now, longest)
        gone = missing_models(known, found, decisions, listing)
        remarks += remarks_on(listing, decisions)
        return _Look(tuple(decisions), tuple(gone), remarks)

    def _see(self, run: int, look: "_Look", job: NightlyJob, now: datetime) -> dict[str, int]:
        """Keep and say what was seen; the numbers of the models by key."""
        alert = Alert("removed", "its files are gone") if job.alerts.removed else None
        numbers = self.history.see(run, look.decisions, look.gone, alert, now)
        for model in look.gone:
            self.log("info", "removed", f"{model.name}: is gone", model=model.name, run=run)
        for decision in look.decisions:
            if decision.action == "waiting":
                told = f"{decision.model.name}: waits: {decision.because}"
                self.log("info", "waiting", told, model=decision.model.name, run=run)
        self._waiting_long(run, look.decisions, numbers, job, now)
        for remark in look.remarks:
            self.log("warning", "remark", remark, run=run)
        return numbers

    def _measure(
        self, run: int, decisions: Sequence[Decision], numbers: dict[str, int], rules: PinnedRules,
        job: NightlyJob, workers: Callable[[], Workers], clock: Clock,
    ) -> Counter[str]:  # fmt: skip
        """Have models measured, the largest first, and keep each as it comes; counts by what came of them."""
        counts: Counter[str] = Counter()
        limits = Limits(job.limit_minutes * 60.0, job.memory_bytes(), int(job.largest_mb * 1e6))
        places = {numbers[decision.model.key]: decision for decision in decisions}
        todo = [d for d in decisions if d.action == "measure"]
        orders = []
        for decision in sorted(todo, key=lambda decision: -decision.model.size):
            number = numbers[decision.model.key]
            if decision.model.size > limits.file_bytes:
                reason = f"{decision.model.size / 1e6:.3g} MB are more than the {job.largest_mb:g} MB allowed"
                self._failed(run, decision, number, rules, reason, job, clock())
                counts["failed"] += 1
            else:
                orders.append(self._order(decision, number, limits))
        if not orders:
            return counts
        crew = workers()
        try:
            for outcome in crew.outcomes(orders, rules):
                decision = places[outcome.number]
                counts[self._keep(run, decision, outcome, rules, job, clock())] += 1
        finally:
            crew.stop()
        return counts

    def _order(self, decision: Decision, number: int, limits: Limits) -> Order:
        return Order(
            number, decision.model.name, str(self.place.folder),
            tuple(file.path for file in decision.model.files), decision.digests, limits,
        )  # fmt: skip

    def _keep(
        self,
        run: int,
        decision: Decision,
        outcome: Outcome,
        rules: PinnedRules,
        job: NightlyJob,
        now: datetime,
    ) -> str:
        """Keep what came of a model; gives `measured`, `nothing`, `failed` or `moved`."""
        name, number = decision.model.name, outcome.number
        outcome = replace(outcome, reason=outcome.reason.removeprefix(f"{name}: "))
        fields = {"model": name, "run": run, "seconds": outcome.seconds, "where": outcome.where}
        if outcome.state == "measured":
            try:
                changes = self._keep_version(run, decision, outcome, rules, job, now)
            except InputError as fault:
                outcome = replace(outcome, state="failed", reason=str(fault))
            else:
                self.log(
                    "info", "measured", f"{name}: measured ({decision.because}); {changes.words()}", **fields
                )
                return "measured"
        if outcome.state == "nothing":
            old = decision.known or decision.renamed_from
            had = old is not None and old.version is not None
            told = [Alert("removed", "held concrete before, now none")] if had and job.alerts.removed else []
            self.history.not_measured(
                run, decision, number, rules.key, "nothing", outcome.reason, told, now, None
            )
            self.log("info", "nothing", f"{name}: {outcome.reason}", **fields)
        elif outcome.state == "moved":
            self.history.moved(run, decision, number, outcome.reason, now)
            self.log("info", "waiting", f"{name}: {outcome.reason}", **fields)
        elif outcome.state == "failed":
            self._failed(run, decision, number, rules, outcome.reason, job, now)
        return outcome.state

    def _keep_version(
        self,
        run: int,
        decision: Decision,
        outcome: Outcome,
        rules: PinnedRules,
        job: NightlyJob,
        now: datetime,
    ) -> Changes:
        """Put the files of a version in place, then the version into the history, then its bill in sight."""
        result = unpack(outcome.packed)
        before_key, before_number = self.history.last_version(outcome.number)
        before = None
        detail = ""
        if before_key:
            before = self.history.read(lambda connection: read_version(connection, before_key))
            if decision.because == "rules":
                other = self.history.read(
                    lambda connection: changed_rules(connection, before_key, rules.inputs)
                )
                detail = f"{', '.join(other)} changed; "
        changes = compare(before, result.tables)
        detail += changes.words() if before else ""
        version = before_number + 1
        folder = f"{version:04d}-{decision.content[:8]}"
        model_folder = self.history.folder(outcome.number)
        self.outputs.put_version(model_folder, folder, result, changes)
        key = self.history.measured(
            run, decision, outcome.number, result.tables, (rules.key, rules.inputs), folder, version,
            change_alerts(changes, job.alerts), detail, now,
        )  # fmt: skip
        self._put_in_sight(VersionPlace(key, model_folder, folder))
        return changes

    def tidy(self, job: NightlyJob, now: datetime) -> None:
        """Remove what is kept no longer: files and details of old versions and of models long gone, old reports.

        Files go first: what is still in the history is found again by the next run, should this one be killed.
        """
        before = now - timedelta(days=job.keep_removed_days)
        for old in self.history.outlived(job.keep_versions, before):
            self.outputs.remove_version(old.model_folder, old.folder)
            self.history.forget(old.version)
        self.outputs.remove_reports(job.keep_reports)
        if self._after_dead:
            self.outputs.remove_unknown(self.history.kept_folders())
            self._after_dead = False

    def _failed(
        self, run: int, decision: Decision, number: int, rules: PinnedRules, reason: str, job: NightlyJob,
        now: datetime,
    ) -> None:  # fmt: skip
        old = decision.known or decision.renamed_from
        attempts = old.attempts if old and old.state == "failing" and decision.because == "retry" else 0
        wait = min(
            timedelta(hours=job.retry_hours) * 2 ** min(attempts, 20), timedelta(days=job.retry_longest_days)
        )
        told = [Alert("failed", reason)] if job.alerts.failed else []
        self.history.not_measured(run, decision, number, rules.key, "failing", reason, told, now, wait)
        self.log(
            "warning", "failed", f"{decision.model.name}: {reason}", model=decision.model.name, run=run,
            attempt=attempts + 1, next_attempt=(now + wait).isoformat(),
        )  # fmt: skip

    def _put_in_sight(self, place: VersionPlace) -> None:
        fault = self.outputs.publish(place.model_folder, place.folder)
        if fault:
            self.log("warning", "not-published", fault)
        else:
            self.history.published(place.version)

    def _waiting_long(
        self, run: int, decisions: Sequence[Decision], numbers: dict[str, int], job: NightlyJob, now: datetime
    ) -> None:
        for decision in decisions:
            old = decision.known
            if decision.action != "waiting" or old is None or old.waiting_since is None:
                continue
            days = (now - old.waiting_since) / timedelta(days=1)
            threshold = job.alerts.waiting_days
            number = numbers[decision.model.key]
            if (
                threshold is not False
                and days >= threshold
                and not self.history.alerted(number, "waiting", old.waiting_since)
            ):
                message = f"has been waiting for {days:.1f} days: {decision.because}"
                self.history.alert(run, number, Alert("waiting", message, days, float(threshold)))


def _is_news(decision: Decision) -> bool:
    """Whether a decision is worth a run of its own, when passes follow each other closely."""
    if decision.action == "waiting":
        return decision.known is None or not decision.known.waiting
    known = decision.known
    return decision.action == "measure" or decision.returned or known is None or bool(known.waiting)
