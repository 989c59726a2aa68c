"""Solids that bring measuring down: found by narrowing down and put aside, so that each costs one element."""

from collections.abc import Callable, Mapping
from typing import TypeVar

from takeoff.findings import InputError
from takeoff.geometry.solids import SolidResult
from takeoff.isolation.patience import Overrun

Result = TypeVar("Result")

LARGEST = 3
"""Bodies of most faces that are tried first where measuring takes too long."""

MOST = 20
"""Solids that may be put aside before the whole is given up."""


def measured_without_culprits(
    work: Callable[[Mapping[int, SolidResult]], Result], solids: Mapping[int, SolidResult], fault: Exception
) -> Result:
    """The result of `work`, which failed with `fault` on all solids, without those on which it fails.

    Of the solids in their order the shortest beginning on which the work fails ends with a culprit, alone or together
    with others before it; halving finds it in as many runs as the number of solids has binary digits. Culprits get
    a condition in place of their body. Raises InputError after `MOST` of them.
    """
    left = dict(solids)
    reason = _words(fault)
    if isinstance(fault, Overrun):
        done = _without_the_largest(work, left, reason)
        if done is not None:
            return done
    for _ in range(MOST):
        keys = [key for key, result in left.items() if any(part is not None for part in result.slices)]
        low, high = 0, len(keys)  # work succeeds on the first `low` solids, fails on the first `high`
        while high - low > 1:
            middle = (low + high) // 2
            try:
                work(_only(left, set(keys[:middle])))
                low = middle
            except InputError:
                low = middle
            except Exception as problem:
                high, reason = middle, _words(problem)
        if not keys:
            break
        culprit = keys[high - 1]
        left[culprit] = _put_aside(left[culprit], reason)
        try:
            return work(left)
        except InputError:
            raise
        except Exception as problem:
            reason = _words(problem)
    raise InputError(f"measuring fails ({reason}); a body in the model is damaged, ask for a new export")


def _without_the_largest(
    work: Callable[[Mapping[int, SolidResult]], Result], solids: Mapping[int, SolidResult], reason: str
) -> Result | None:
    """The result without one of the bodies of most faces, which are those that take long; None where that fails.

    Halving has to wait for the bound of time again and again.
    """
    faces = {
        key: sum(len(part.mesh.faces) for part in result.slices if part is not None)
        for key, result in solids.items()
    }
    for key in sorted(faces, key=lambda key: -faces[key])[:LARGEST]:
        try:
            return work({**solids, key: _put_aside(solids[key], reason)})
        except InputError:
            raise
        except Exception:
            continue
    return None


def _put_aside(result: SolidResult, reason: str) -> SolidResult:
    text = f"its faces cannot be measured ({reason})"
    return SolidResult(result.key, (), text, result.remarks, lasting=False)


def _only(solids: Mapping[int, SolidResult], wanted: set[int]) -> dict[int, SolidResult]:
    """The solids that are wanted, all others without a body."""
    return {
        key: result if key in wanted else SolidResult(key, (), "put aside") for key, result in solids.items()
    }


def _words(fault: Exception) -> str:
    return f"{type(fault).__name__}: {' '.join(str(fault).split())[:120]}"
