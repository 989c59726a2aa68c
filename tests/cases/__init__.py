"""Measuring cases whose answers are worked out by hand, one file for each kind of work."""

from cases import (
    curves,
    doubles,
    drops,
    edges,
    footings,
    frames,
    ground_forms,
    heights,
    layered,
    lost_forms,
    neighbours,
    rounded,
    slabs,
    stairs,
    supports,
    walls,
)
from cases.case import Case, CaseModel, totals

CASES: tuple[Case, ...] = (
    *frames.CASES,
    *walls.CASES,
    *slabs.CASES,
    *stairs.CASES,
    *rounded.CASES,
    *curves.CASES,
    *supports.CASES,
    *drops.CASES,
    *edges.CASES,
    *heights.CASES,
    *layered.CASES,
    *footings.CASES,
    *neighbours.CASES,
    *doubles.CASES,
    *ground_forms.CASES,
    *lost_forms.CASES,
)

__all__ = ["CASES", "Case", "CaseModel", "totals"]
