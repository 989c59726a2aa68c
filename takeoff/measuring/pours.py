"""Pours and stop-ends: joints between pours that no model shows, as an allowance by stated limits."""

import math
from collections.abc import Collection, Sequence

from takeoff.measuring.bodies import FORMED, Body
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.records import EnvelopeRow, PourRow


def measure_pours(
    bodies: Sequence[Body], sizes: Sequence[Dimensions], convention: Convention
) -> tuple[PourRow, ...]:
    """Stop-ends of cast walls longer than one pour, and of slabs and foundations larger than one.

    A wall of length l takes ceil(l / limit) pours and one stop-end fewer, each as high and as thick as the
    wall; a slab ceil(v / limit) pours, each stop-end as long as its shorter side. Limits of 0 mean one pour.
    """
    rows = []
    limits = convention.pours
    for body, size in zip(bodies, sizes, strict=True):
        if body.method not in FORMED:
            continue
        if body.role == "wall" and limits.wall_length_m > 0:
            joints = math.ceil(size.length / limits.wall_length_m - 1e-6) - 1
            length = size.height
        elif body.role in ("slab", "foundation") and limits.slab_volume_m3 > 0:
            joints = math.ceil(body.net / limits.slab_volume_m3 - 1e-6) - 1
            length = size.width
        else:
            continue
        if joints > 0:
            rows.append(
                PourRow(
                    *body.key,
                    body.role,
                    body.storey,
                    joints + 1,
                    joints,
                    joints * length,
                    joints * length * size.thickness,
                )
            )
    return tuple(rows)


def watertight_pours(
    pours: Sequence[PourRow], envelope: Sequence[EnvelopeRow], below: Collection[tuple[str, str, int]]
) -> tuple[EnvelopeRow, ...]:
    """Joints between the pours of walls with an outer face below ground (`below`: their keys), to be sealed."""
    outer = {(row.model, row.global_id, row.part) for row in envelope if row.kind == "wall-face"}
    return tuple(
        EnvelopeRow(
            row.model, row.global_id, row.part, row.role, row.storey, "joint-pour", None, row.length_m
        )
        for row in pours
        if row.role == "wall" and (key := (row.model, row.global_id, row.part)) in outer and key in below
    )
