"""Solids that bring measuring down: found by what was noted, else by narrowing down, and put aside; each costs one
element."""

from collections.abc import Callable, Iterable, Mapping
from typing import Protocol, TypeVar

from takeoff.findings import InputError
from takeoff.geometry.solids import SolidResult
from takeoff.isolation import notes
from takeoff.isolation.copies import Lost, words_of
from takeoff.isolation.patience import SHORT, Overrun

Result = TypeVar("Result")
Result_co = TypeVar("Result_co", covariant=True)
Solids = Mapping[int, SolidResult]

LARGEST = 3
"""Bodies of most faces that are tried first where measuring takes too long over nobody by name."""

MOST = 20
SHARE = 0.05
"""Solids that may be put aside before the whole is given up: so many, or that part of all."""


class Work(Protocol[Result_co]):
    """Measures solids."""

    def __call__(self, solids: Solids, *, sweeping: bool = True, share: float = 1.0) -> Result_co:
        """Measure within a `share` of the usual bound; `sweeping` tells all over whom it fails at once."""


def fault_over(work: Callable[[], Result]) -> tuple[Result | None, Exception | None]:
    """The result of work, or the fault: Lost, where it is known over whom. Raises InputError."""
    try:
        return work(), None
    except InputError:
        raise
    except Lost as fault:
        return None, fault
    except Exception as fault:
        number = notes.current().number
        notes.nothing()
        return None, Lost({number: words_of(fault)}, words_of(fault)) if number else fault


def measured_without_culprits(
    work: Work[Result], solids: Solids, fault: Exception, whose: Callable[[int], Iterable[int]]
) -> Result:
    """The result of `work`, which failed with `fault` on all solids, without those on which it fails.

    Over whom it failed is mostly known: `whose` gives the solids of what was noted under a number. Where it is not,
    the shortest beginning of the solids in their order on which the work fails ends with a culprit, alone or together
    with others before it; halving finds it in as many runs as the number of solids has binary digits. Culprits get a
    condition in place of their body. Raises InputError after too many of them.
    """
    left = dict(solids)
    most = max(MOST, int(SHARE * sum(_has_body(result) for result in left.values())))
    aside = 0
    unsure = True
    while aside <= most:
        found = {
            key: reason
            for number, reason in (fault.culprits if isinstance(fault, Lost) else {}).items()
            for key in whose(number)
            if key in left and _has_body(left[key])
        }
        if isinstance(fault, Lost) and not found and unsure:
            unsure = (
                False  # something broke down, perhaps by chance: whoever it was shows when it does so again
            )
        elif not found:
            done, found = _narrowed(work, left, fault)
            if done is not None:
                return done
            if not found:
                break
        for key, reason in found.items():
            left[key] = put_aside(left[key], reason)
        aside += len(found)
        result, problem = fault_over(lambda: work(left))
        if result is not None:
            return result
        assert problem is not None
        fault = problem
    words = str(fault) if isinstance(fault, Lost) else words_of(fault)
    raise InputError(f"measuring fails ({words}); a body in the model is damaged, ask for a new export")


def _narrowed(work: Work[Result], solids: Solids, fault: Exception) -> tuple[Result | None, dict[int, str]]:
    """The result without one of the largest bodies, or the culprit that halving finds, with the reason."""
    reason = words_of(fault)
    share = SHORT if isinstance(fault, Overrun) else 1.0
    if isinstance(fault, Overrun):
        done = _without_the_largest(work, solids, reason, share)
        if done is not None:
            return done, {}
    keys = [key for key, result in solids.items() if _has_body(result)]
    low, high = 0, len(keys)  # work succeeds on the first `low` solids, fails on the first `high`
    while high - low > 1:
        middle = (low + high) // 2
        try:
            work(_only(solids, set(keys[:middle])), sweeping=False, share=share)
            low = middle
        except InputError:
            low = middle
        except Exception as problem:
            high, reason = middle, words_of(problem)
    return None, {keys[high - 1]: reason} if keys else {}


def _without_the_largest(work: Work[Result], solids: Solids, reason: str, share: float) -> Result | None:
    """The result without one of the bodies of most faces, which are those that take long; None where that fails.

    Halving has to wait for the bound of time again and again.
    """
    faces = {
        key: sum(len(part.mesh.faces) for part in result.slices if part is not None)
        for key, result in solids.items()
    }
    for key in sorted(faces, key=lambda key: -faces[key])[:LARGEST]:
        try:
            return work({**solids, key: put_aside(solids[key], reason)}, share=share)
        except InputError:
            raise
        except Exception:
            continue
    return None


def put_aside(result: SolidResult, reason: str) -> SolidResult:
    """A solid that cannot be measured, for a reason."""
    text = f"its faces cannot be measured ({reason})"
    return SolidResult(result.key, (), text, result.remarks, lasting=False)


def _has_body(result: SolidResult) -> bool:
    return any(part is not None for part in result.slices)


def _only(solids: Solids, wanted: set[int]) -> dict[int, SolidResult]:
    """The solids that are wanted, all others without a body."""
    return {
        key: result if key in wanted else SolidResult(key, (), "put aside") for key, result in solids.items()
    }
