"""Looking down from soffits: the nearest floor counts, whatever the number of floors and their order."""

import numpy as np
import pytest
from meshes import box, cylinder, mesh

from takeoff.geometry.facets import make_facets
from takeoff.geometry.surfaces import make_surfaces
from takeoff.measuring import soffits
from takeoff.measuring.soffits import Floors


def _below(solids, which, sheet=None, monkeypatch=None):  # type: ignore[no-untyped-def]
    if sheet is not None:
        monkeypatch.setattr(soffits, "SHEET", sheet)
    surfaces = make_surfaces(make_facets([mesh(solid) for solid in solids]))
    rows = np.arange(len(surfaces))
    down = rows[(surfaces.part == which) & (surfaces.normal[:, 2] < -0.9)]
    floors = Floors(surfaces, rows)
    (outlook,) = floors.below(down.tolist(), [surfaces.polygon[row] for row in down], [None] * len(down))
    return [
        (round(entry.share, 6), None if entry.height is None else round(entry.height, 6))
        for entry in outlook.below
    ]


@pytest.mark.parametrize("sheet", [1, 2, 256])
def test_each_piece_has_the_next_floor_below(sheet, monkeypatch):  # type: ignore[no-untyped-def]
    solids = [
        box((0, 0, 9), (4, 2, 0.2)),  # the soffit
        box((0, 0, 0), (4, 2, 0.2)),
        box((0, 0, 3), (2, 2, 0.2)),
        box((0, 0, 6), (1, 2, 0.2)),
        box((3.5, 0, 12), (2, 2, 0.2)),  # above it
    ]
    assert _below(solids, 0, sheet, monkeypatch) == [(0.25, 2.8), (0.25, 5.8), (0.5, 8.8)]


@pytest.mark.parametrize("sheet", [1, 256])
def test_what_hangs_over_nothing_is_told(sheet, monkeypatch):  # type: ignore[no-untyped-def]
    solids = [box((0, 0, 3), (4, 2, 0.2)), box((1, 0, 0), (1, 2, 0.5))]
    assert _below(solids, 0, sheet, monkeypatch) == [(0.25, 2.5), (0.75, None)]


def test_a_ramp_that_rises_past_the_soffit_is_still_looked_at(monkeypatch):  # type: ignore[no-untyped-def]
    ramp = box((0, 0, 0), (8, 2, 0.2)).rotate((0, -30, 0))
    soffit = box((0.5, 0, 3), (0.5, 2, 0.2))
    plain = _below([soffit, ramp], 0, 256, monkeypatch)
    assert plain == _below([soffit, ramp], 0, 1, monkeypatch)
    assert plain[0][0] == pytest.approx(1.0)
    assert 2.0 < plain[0][1] < 3.0


@pytest.mark.parametrize("lean", [0.0, 10.0, 45.0])
def test_many_floors_are_taken_together_as_they_are_one_by_one(lean, monkeypatch):  # type: ignore[no-untyped-def]
    """A round soffit of many corners over the many facets of a round body, and over a flat floor beside it."""
    solids = [
        cylinder((0, 0, 9), 3.0, 0.2, 200),
        cylinder((0, 0, -2), 2.0, 4.0, 200).rotate((0, 90 - lean, 0)),
        box((-4, -4, -9), (8, 8, 0.2)),
    ]
    many = _below(solids, 0)
    for name in ("CROWDED", "TILED_WORK"):
        monkeypatch.setattr(soffits, name, 10**12)
    one_by_one = _below(solids, 0)
    for found in (many, one_by_one):
        assert sum(share for share, _ in found) == pytest.approx(1.0, abs=1e-4)
    moment = [sum(share * height for share, height in found) for found in (many, one_by_one)]
    assert moment[0] == pytest.approx(moment[1], rel=1e-4)
    assert len(many) > 50
