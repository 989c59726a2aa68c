"""Who measures: processes of this machine, or the workers of a Dask cluster. Both answer with outcomes."""

import contextlib
import logging
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import TYPE_CHECKING, Any, Protocol

from takeoff import __version__
from takeoff.findings import InputError
from takeoff.nightly.isolation import Isolation, run_order
from takeoff.nightly.names import shown
from takeoff.nightly.nursery import Nursery, available
from takeoff.nightly.order import Order, PinnedRules
from takeoff.nightly.outcome import Outcome

if TYPE_CHECKING:
    pass

CONNECT_SECONDS = 30
LOOK_SECONDS = 5.0
SILENCE_SECONDS = 120.0
"""How long a cluster may be without any worker before the run gives up."""


class Workers(Protocol):
    """Carries out orders and gives their outcomes as they come; `stop` ends what is under way."""

    def outcomes(self, orders: Sequence[Order], rules: PinnedRules) -> Iterator[Outcome]:
        """An outcome for each order, in the order in which they come."""

    def stop(self) -> None:
        """End what is under way."""


class LocalWorkers:
    """Processes of this machine, `at_once` at a time."""

    def __init__(self, at_once: int) -> None:
        self._at_once = at_once
        self._nursery = Nursery() if available() else None
        self._isolation = Isolation(self._nursery)

    def outcomes(self, orders: Sequence[Order], rules: PinnedRules) -> Iterator[Outcome]:
        """Outcomes as they come; only as many orders are begun as are measured at once."""
        left = iter(orders)
        if self._nursery is not None:
            with contextlib.suppress(OSError):
                self._nursery.start()  # by this thread, which outlasts those of the pool
        with ThreadPoolExecutor(self._at_once) as pool:
            running: set[Future[Outcome]] = set()
            try:
                while True:
                    while len(running) < self._at_once and (order := next(left, None)) is not None:
                        running.add(pool.submit(self._isolation.run, order, rules))
                    if not running:
                        return
                    done, running = wait(running, return_when=FIRST_COMPLETED)
                    for future in done:
                        yield future.result()
            finally:
                # Also when the run is interrupted: nothing is left measuring for nobody.
                if running:
                    self.stop()

    def stop(self) -> None:
        """End all processes."""
        self._isolation.stop()
        if self._nursery is not None:
            self._nursery.end()


class ClusterWorkers:
    """Workers of a running Dask scheduler. They see the model folder under the same path.

    A worker that is lost has its models run again elsewhere, by the scheduler; a model that was lost with several
    workers is held to be the cause and fails. The rules travel as a task, so that they too are made again.
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise InputError("--cluster needs the extra 'cluster': pip install 'takeoff[cluster]'") from None
        self._address = address
        # What goes wrong is told once, in our words, instead of as traces of the library's.
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        try:
            self._client: Client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
            self._client.wait_for_workers(1, timeout=CONNECT_SECONDS)
        except (OSError, TimeoutError, ValueError) as fault:
            raise InputError(f"cluster {address}: no scheduler with a worker answers ({fault})") from fault
        self._check_programs()

    def outcomes(self, orders: Sequence[Order], rules: PinnedRules) -> Iterator[Outcome]:
        """Outcomes as they come. Raises InputError when the cluster is lost; what came before stays good."""
        from distributed import as_completed

        pinned = self._client.submit(_same, rules, pure=False)
        futures = {self._client.submit(run_order, order, pinned, pure=False): order for order in orders}
        arrivals = as_completed(futures, loop=self._client.loop)
        for _ in range(len(futures)):
            future = self._next(arrivals)
            order = futures.pop(future)
            yield self._outcome(future, order)
            future.release()

    def stop(self) -> None:
        """Leave the cluster; orders that were not begun are not begun any more."""
        with contextlib.suppress(Exception):
            self._client.close(timeout=5)

    def _check_programs(self) -> None:
        """Raise InputError naming the workers that could not measure what the run measures."""
        try:
            found = self._client.run(program_version, on_error="return")
        except Exception as fault:
            self.stop()
            said = shown(f"{type(fault).__name__}: {fault}")
            raise InputError(f"cluster {self._address}: its workers could not be asked ({said})") from fault
        wrong = [
            f"{place} has {version if isinstance(version, str) else f'none that runs ({shown(str(version))})'}"
            for place, version in sorted(found.items())
            if version != __version__
        ]
        if wrong:
            self.stop()
            more = f" and {len(wrong) - 3} more" if len(wrong) > 3 else ""
            raise InputError(
                f"cluster {self._address}: the run has takeoff {__version__}, worker {', '.join(wrong[:3])}{more}; "
                "install the same on all"
            )

    def _next(self, arrivals: Any) -> Any:
        """The next finished future, looking meanwhile whether there still is a cluster."""
        looked = worked = time.monotonic()
        while not arrivals.has_ready():
            time.sleep(0.05)
            if time.monotonic() - looked > LOOK_SECONDS:
                looked = time.monotonic()
                if self._has_workers():
                    worked = looked
                if looked - worked > SILENCE_SECONDS:
                    raise InputError(
                        f"cluster {self._address}: has had no worker for {SILENCE_SECONDS:g} seconds"
                    )
        return next(arrivals)

    def _has_workers(self) -> bool:
        try:
            return bool(self._client.scheduler_info(n_workers=-1)["workers"])
        except (OSError, KeyError, TypeError):
            return False

    def _outcome(self, future: Any, order: Order) -> Outcome:
        from distributed import CancelledError, KilledWorker

        try:
            outcome: Outcome = future.result(timeout=CONNECT_SECONDS)
            if outcome.state == "refused":  # by a worker that came later
                raise InputError(f"cluster {self._address}: {outcome.reason}")
            return outcome
        except InputError:
            raise
        except KilledWorker:
            return Outcome(order.number, "failed", "several workers were lost while they measured it")
        except CancelledError as fault:
            raise InputError(f"cluster {self._address}: the scheduler was lost") from fault
        except (OSError, TimeoutError) as fault:
            raise InputError(f"cluster {self._address}: was lost ({fault})") from fault
        except Exception as fault:
            return Outcome(
                order.number, "failed", f"the worker could not run it ({type(fault).__name__}: {fault})"
            )


def program_version() -> str:
    """The version of this program where this is called."""
    return __version__


def _same(rules: PinnedRules) -> PinnedRules:
    return rules
