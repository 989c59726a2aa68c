"""A small made measurement for the tests of pricing, with figures that are easy to add up by hand."""

from functools import cache
from pathlib import Path
from typing import Any

from takeoff.measuring.records import (
    FormworkRow,
    HoleRow,
    JointRow,
    MeasuredPart,
    Measurement,
    PieceRow,
    ReinforcementRow,
    SurfaceRow,
)
from takeoff.pricing.bill import make_bill
from takeoff.pricing.markups import MarkupPlan, load_markups
from takeoff.pricing.rates import RateBook, load_rates
from takeoff.pricing.records import Bill, Item
from takeoff.pricing.sections import SectionPlan, load_sections
from takeoff.templates import template_path

MODEL = "archive.ifc"
HEADER = "item,unit,rate,low,high,source,date,note\n"


def part(global_id: str, role: str, method: str, volume: float | None, **more: Any) -> MeasuredPart:
    fields: dict[str, Any] = {
        "model": MODEL,
        "global_id": global_id,
        "part": 1,
        "ifc_class": "IfcBuildingElement",
        "name": f"{role} {global_id}",
        "type_name": "",
        "mark": "",
        "storey": "Ground",
        "role": role,
        "subrole": "",
        "method": method,
        "evidence": "",
        "material": "",
        "strength_class": "C30/37",
        "gross_volume_m3": volume,
        "net_volume_m3": volume,
        "weight_t": None if volume is None else volume * 2.5,
    }
    return MeasuredPart(**(fields | more))


def form(global_id: str, role: str, category: str, area: float, **more: Any) -> FormworkRow:
    fields: dict[str, Any] = {
        "model": MODEL,
        "global_id": global_id,
        "part": 1,
        "role": role,
        "storey": "Ground",
        "category": category,
        "shape": "plane",
        "band": "",
        "height_to_soffit_m": None,
        "area_m2": area,
        "length_m": None,
    }
    return FormworkRow(**(fields | more))


def surface(global_id: str, role: str, state: str, area: float, slope: float = 0.0) -> SurfaceRow:
    return SurfaceRow(MODEL, global_id, 1, role, "Ground", state, area, slope)


def hole(global_id: str, role: str, area: float, girth: float, band: str) -> HoleRow:
    return HoleRow(MODEL, global_id, 1, role, "Ground", area, girth, band)


def steel(global_id: str, role: str, mass: float, basis: str = "allowance", **more: Any) -> ReinforcementRow:
    fields: dict[str, Any] = {
        "model": MODEL,
        "global_id": global_id,
        "part": 1,
        "role": role,
        "storey": "Ground",
        "basis": basis,
        "kind": "bar",
        "diameter_mm": None,
        "mass_kg": mass,
        "low_kg": mass,
        "high_kg": mass,
        "note": "",
    }
    return ReinforcementRow(**(fields | more))


def piece(global_id: str, role: str, method: str, size: tuple[float, float, float], **more: Any) -> PieceRow:
    volume = size[0] * size[1] * size[2]
    fields: dict[str, Any] = {
        "model": MODEL,
        "global_id": global_id,
        "mark": global_id.upper(),
        "method": method,
        "role": role,
        "storey": "Ground",
        "length_m": size[0],
        "width_m": size[1],
        "thickness_m": size[2],
        "volume_m3": volume,
        "weight_t": volume * 2.5,
        "largest_face_m2": size[0] * size[1],
        "openings": 0,
        "repetition_group": "G1",
        "repetition_count": 1,
        "strength_class": "C30/37",
        "parts": f"{global_id}/1",
        "outline_m": 2.0 * (size[0] + size[1]),
        "outline_m2": size[0] * size[1],
        "connections": {"wall": 4.0, "stair": 2.0}.get(role, 0.0) if method == "precast" else 0.0,
        "inserts": 2 if method == "tilt-up" else 0,
        "braces": 2 if method == "tilt-up" else 0,
    }
    return PieceRow(**(fields | more))


def joint(global_id: str, other: str, kind: str, area: float, length: float, gap: float = 0.02) -> JointRow:
    return JointRow(MODEL, global_id, 1, other, 1, kind, area, length, gap, "Ground")


def small_building() -> Measurement:
    """Footing, two cast walls, a topping on two planks, a tilt-up panel with a door, an unresolved wall."""
    parts = (
        part(
            "footing",
            "foundation",
            "cast-in-place",
            6.0,
            length_m=6.0,
            width_m=2.0,
            height_m=0.5,
            size_band="300-600",
        ),
        part(
            "wall1",
            "wall",
            "cast-in-place",
            2.7,
            gross_volume_m3=3.0,
            overlap_volume_m3=0.1,
            length_m=5.0,
            width_m=0.2,
            height_m=3.0,
            size_band="150-300",
            opening_area_m2=1.0,
            mark="W1",
        ),
        part(
            "wall2",
            "wall",
            "cast-in-place",
            3.0,
            length_m=5.0,
            width_m=0.2,
            height_m=3.0,
            size_band="150-300",
        ),
        part("topping", "slab", "cast-in-place", 2.0, plan_area_m2=20.0, size_band="to 150"),
        part("plank1", "slab", "precast", 0.6, strength_class="C45/55", plan_area_m2=9.0, size_band="to 150"),
        part("plank2", "slab", "precast", 0.6, strength_class="C45/55", plan_area_m2=9.0, size_band="to 150"),
        part("panel", "wall", "tilt-up", 4.8, length_m=8.0, width_m=0.2, height_m=3.0, size_band="150-300"),
        part("riddle", "wall", "unresolved", 1.5, length_m=4.0, strength_class="", size_band="150-300"),
        part("frame", "beam", "not-concrete", 9.0),
    )
    return Measurement(
        parts=parts,
        formwork=(
            form("footing", "foundation", "foundation-side", 8.0, band="300-600", length_m=16.0, depth_m=0.5),
            form("wall1", "wall", "wall-side", 28.0),
            form("wall1", "wall", "opening-reveal", 0.8, place="opening"),
            form("wall2", "wall", "wall-side", 30.0),
            form("wall2", "wall", "wall-end", 1.2),
            form(
                "topping",
                "slab",
                "slab-soffit",
                2.0,
                band="to 150",
                height_to_soffit_m=2.8,
                height_band="to 3",
            ),
            form("topping", "slab", "slab-edge", 1.8, band="to 250", length_m=18.0, depth_m=0.1),
            form("riddle", "wall", "wall-side", 20.0),
        ),
        surfaces=(
            surface("footing", "foundation", "ground", 12.0),
            surface("footing", "foundation", "contact", 2.0),
            surface("topping", "slab", "free", 20.0),
            surface("wall1", "wall", "seated", 1.0),
        ),
        holes=(
            hole("wall1", "wall", 1.0, 4.0, "0.5-1"),
            hole("panel", "wall", 2.0, 6.0, "1-2"),
        ),
        reinforcement=(
            steel("footing", "foundation", 480.0, note="6.000 m3 at 80 kg/m3"),
            steel("wall1", "wall", 216.0, basis="modelled", diameter_mm=12.0),
            steel("wall2", "wall", 240.0),
            steel("topping", "slab", 160.0, kind="fabric"),
            steel("plank1", "slab", 60.0),
            steel("plank2", "slab", 60.0),
            steel("panel", "wall", 384.0),
            steel("riddle", "wall", 120.0),
        ),
        pieces=(
            piece("plank1", "slab", "precast", (3.75, 2.4, 0.0666666667), volume_m3=0.6, weight_t=1.5),
            piece("plank2", "slab", "precast", (3.75, 2.4, 0.0666666667), volume_m3=0.6, weight_t=1.5),
            piece(
                "panel",
                "wall",
                "tilt-up",
                (8.0, 3.25, 0.2),
                volume_m3=4.8,
                weight_t=12.0,
                largest_face_m2=24.0,
                openings=1,
                opening_edges_m=6.0,
            ),
        ),
        joints=(
            joint("plank1", "wall1", "bed", 0.24, 2.4),
            joint("plank1", "plank2", "slab", 0.25, 3.75),
            joint("plank1", "topping", "topping", 9.0, 3.75, 0.0),
            joint("plank2", "topping", "topping", 9.0, 3.75, 0.0),
            joint("panel", "footing", "bed", 1.6, 8.0),
        ),
    )


@cache
def _shipped() -> tuple[RateBook, SectionPlan, MarkupPlan]:
    """The shipped data files, read once: they take longer to read than a small bill to make."""
    return (
        load_rates(template_path("rates.csv")),
        load_sections(template_path("sections.toml")),
        load_markups(template_path("markups.toml")),
    )


def shipped_bill(measurement: Measurement) -> Bill:
    return make_bill(measurement, *_shipped())


def items_of(bill: Bill) -> dict[str, Item]:
    return {item.key: item for section in bill.sections for item in section.items}


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path
