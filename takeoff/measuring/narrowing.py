"""Solids that bring measuring down: found by narrowing down and put aside, so that each costs one element."""

from collections.abc import Callable, Mapping
from typing import TypeVar

from takeoff.findings import InputError
from takeoff.geometry.solids import SolidResult

Result = TypeVar("Result")

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
        left[culprit] = SolidResult(
            culprit, (), f"its faces cannot be measured ({reason})", left[culprit].remarks, lasting=False
        )
        try:
            return work(left)
        except InputError:
            raise
        except Exception as problem:
            reason = _words(problem)
    raise InputError(f"measuring fails ({reason}); a body in the model is damaged, ask for a new export")


def _only(solids: Mapping[int, SolidResult], wanted: set[int]) -> dict[int, SolidResult]:
    """The solids that are wanted, all others without a body."""
    return {
        key: result if key in wanted else SolidResult(key, (), "put aside") for key, result in solids.items()
    }


def _words(fault: Exception) -> str:
    return f"{type(fault).__name__}: {' '.join(str(fault).split())[:120]}"
