"""Elements taken apart: by layer, by body, or not at all."""

import pickle
import time
from functools import cache

import pytest

from takeoff.measuring.methods import MethodRules, load_rules
from takeoff.measuring.overrides import Override, Overrides
from takeoff.measuring.parts import plan_elements
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.plan_findings import shell_findings
from takeoff.measuring.records import MeasuredPart
from takeoff.reading.facts import BuildUp, ElementFacts, Embedded, Layer, ModelFacts
from takeoff.templates import template_path

PRECAST = {"Pset_ConcreteElementGeneral": {"CastingMethod": "PRECAST"}}


@cache
def shipped_rules() -> MethodRules:
    return load_rules(template_path("methods.toml"))


def element(**known: object) -> ElementFacts:
    facts = {"model": "m", "step_id": 1, "global_id": "g", "ifc_class": "IfcSlab", "role": "slab"}
    return ElementFacts(**{**facts, **known})  # type: ignore[arg-type]


def plans(
    *elements: ElementFacts, overrides: Overrides | None = None, embedded: tuple[Embedded, ...] = ()
) -> tuple[ElementPlan, ...]:
    model = ModelFacts("m", "", "", "IFC4", 1.0, elements=elements, embedded=embedded)
    return plan_elements([model], shipped_rules(), overrides)


def layered(*layers: tuple[str, float], **known: object) -> ElementPlan:
    build_up = BuildUp(tuple(Layer(material, thickness) for material, thickness in layers))
    (plan,) = plans(element(build_up=build_up, **known))
    return plan


def shape(plan: ElementPlan) -> list[tuple[int, str, tuple[float, float] | None]]:
    return [(part.part, part.method, part.layers) for part in plan.parts]


def kinds(plan: ElementPlan) -> list[str]:
    return [finding.kind for finding in plan.findings]


# -- layers ------------------------------------------------------------------------------------------------

TWIN_WALL = (
    ("Precast concrete C40/50", 0.06),
    ("In-situ concrete C30/37", 0.18),
    ("Precast concrete C40/50", 0.06),
)


@pytest.mark.parametrize("known", [{}, {"properties": PRECAST}, {"type_name": "Twin wall precast 300"}])
def test_twin_wall_is_leaf_core_leaf(known: dict[str, object]) -> None:
    """What is said of the whole does not undo what the layers say of themselves, nor contradict it."""
    plan = layered(*TWIN_WALL, **known)
    assert shape(plan) == [
        (1, "precast", (0.0, 0.06)),
        (2, "cast-in-place", (0.06, 0.24)),
        (3, "precast", (0.24, 0.3)),
    ]
    assert [part.strength_class for part in plan.parts] == ["C40/50", "C30/37", "C40/50"]
    assert plan.findings == ()


def test_plank_and_topping_of_which_one_is_told() -> None:
    plan = layered(("Breedplaat", 0.06), ("Beton C20/25", 0.2))
    assert shape(plan) == [(1, "precast", (0.0, 0.06)), (2, "cast-in-place", (0.06, 0.26))]
    assert kinds(plan) == ["method-assumed"]


def test_a_property_goes_for_layers_without_words_of_their_own() -> None:
    plan = layered(("Concrete", 0.1), ("EPS", 0.1), ("Concrete", 0.06), properties=PRECAST)
    assert shape(plan) == [
        (1, "precast", (0.0, 0.1)),
        (2, "not-concrete", (0.1, 0.2)),
        (3, "precast", (0.2, 0.26)),
    ]
    assert plan.findings == ()


def test_layers_that_agree_with_each_other_against_a_property() -> None:
    plan = layered(("In situ concrete", 0.2), ("EPS", 0.1), properties=PRECAST)
    assert [part.method for part in plan.parts] == ["precast", "not-concrete"]
    assert kinds(plan) == ["method-contradiction"]


def test_concrete_of_one_method_is_one_part() -> None:
    plan = layered(("Concrete", 0.05), ("Reinforced concrete", 0.2))
    assert shape(plan) == [(1, "cast-in-place", None)]
    assert plan.parts[0].material == "Reinforced concrete"
    assert kinds(plan) == ["method-assumed"]


def test_concrete_of_two_strengths_is_two_parts() -> None:
    plan = layered(("Concrete C30/37", 0.2), ("Concrete C20/25", 0.05))
    assert [(p.strength_class, p.layers) for p in plan.parts] == [
        ("C30/37", (0.0, 0.2)),
        ("C20/25", (0.2, 0.25)),
    ]


def test_like_layers_side_by_side_are_one_part() -> None:
    plan = layered(("Gypsum", 0.0125), ("Gypsum", 0.0125), ("EPS", 0.1), ("Concrete", 0.1), ("Concrete", 0.1))
    assert shape(plan) == [
        (1, "not-concrete", (0.0, 0.025)),
        (2, "not-concrete", (0.025, 0.125)),
        (3, "cast-in-place", (0.125, 0.325)),
    ]


def test_nothing_of_concrete_is_one_part() -> None:
    plan = layered(
        ("Masonry - Brick", 0.092), ("Misc. Air Layers", 0.025), ("Masonry - Concrete Block", 0.19)
    )
    assert shape(plan) == [(1, "not-concrete", None)]
    assert plan.parts[0].evidence.startswith('material "Masonry - Concrete Block"')
    assert plan.findings == ()


def test_masonry_with_a_cast_core_is_taken_apart() -> None:
    plan = layered(("Brick", 0.1), ("Concrete cast in situ", 0.2), ("Brick", 0.1))
    assert [part.method for part in plan.parts] == ["not-concrete", "cast-in-place", "not-concrete"]


def test_layers_of_no_thickness_make_no_part() -> None:
    assert shape(layered(("Membrane", 0.0), ("Concrete", 0.2))) == [(1, "cast-in-place", None)]


def test_a_thin_unknown_layer_beside_concrete() -> None:
    plan = layered(("Concrete", 0.2), ("Default", 0.02))
    assert [part.method for part in plan.parts] == ["cast-in-place", "not-concrete"]
    assert sorted(kinds(plan)) == ["layer-unknown", "method-assumed"]


def test_a_thick_unknown_layer_is_unresolved_unless_the_type_tells() -> None:
    assert layered(("Default", 0.2), ("Plaster", 0.01)).parts[0].method == "unresolved"
    told = layered(("Default", 0.2), ("Plaster", 0.01), type_name="Stahlbetonwand 200")
    assert [part.method for part in told.parts] == ["cast-in-place", "not-concrete"]


def test_steel_deck_under_concrete_stays_as_a_form() -> None:
    plan = layered(("Lightweight concrete", 0.1), ("Metal deck", 0.05))
    assert [(p.method, p.permanent_formwork) for p in plan.parts] == [
        ("cast-in-place", False),
        ("not-concrete", True),
    ]


def test_the_users_list_leaves_insulation_alone() -> None:
    overrides = Overrides(by_id={"g": Override("tilt-up", "list.csv line 2")})
    build_up = BuildUp((Layer("EPS", 0.3), Layer("In situ concrete", 0.2), Layer("Precast concrete", 0.05)))
    (plan,) = plans(element(build_up=build_up), overrides=overrides)
    assert shape(plan) == [(1, "not-concrete", (0.0, 0.3)), (2, "tilt-up", (0.3, 0.55))]
    (plan,) = plans(element(build_up=BuildUp((Layer("Brick", 0.1), Layer("EPS", 0.1)))), overrides=overrides)
    assert shape(plan) == [(1, "tilt-up", None)]


# -- bodies and lists of materials -------------------------------------------------------------------------


def test_bodies_of_different_making() -> None:
    materials = ("Precast concrete", "In situ concrete", "Precast concrete")
    (plan,) = plans(element(body=(11, 12, 13), body_materials=materials))
    assert [(p.part, p.method, p.bodies) for p in plan.parts] == [
        (1, "precast", (11, 13)),
        (2, "cast-in-place", (12,)),
    ]


def test_bodies_of_one_making_are_one_part() -> None:
    (plan,) = plans(element(body=(11, 12), body_materials=("Concrete", "Reinforced concrete")))
    assert [(p.method, p.bodies) for p in plan.parts] == [("cast-in-place", ())]


def test_layers_are_borrowed_from_another_of_the_type() -> None:
    build_up = BuildUp((Layer("Beton prefab", 0.2), Layer("EPS", 0.133)), axis=2, sense=-1, offset=0.1)
    known = {"type_name": "insulated unit", "materials": ("EPS", "Beton prefab")}
    first, second = plans(element(build_up=build_up, **known), element(global_id="h", **known))
    assert shape(second) == shape(first)
    assert second.facts.build_up == BuildUp(build_up.layers, axis=2, sense=-1, offset=None)
    assert kinds(second) == ["layers-borrowed"]


def test_layers_are_not_borrowed_in_doubt() -> None:
    known = {"type_name": "insulated unit", "materials": ("EPS", "Beton prefab")}
    thin = BuildUp((Layer("Beton prefab", 0.2), Layer("EPS", 0.1)))
    thick = BuildUp((Layer("Beton prefab", 0.2), Layer("EPS", 0.2)))
    *_, last = plans(element(build_up=thin, **known), element(build_up=thick, **known), element(**known))
    assert shape(last) == [(1, "precast", None)]
    assert kinds(last) == ["layers-unknown"]


def test_a_list_of_makings_without_thicknesses_is_unresolved() -> None:
    (plan,) = plans(element(materials=("Precast concrete", "In situ concrete")))
    assert shape(plan) == [(1, "unresolved", None)]
    assert kinds(plan) == ["layers-unknown"]


def test_bars_in_the_list_of_materials_say_nothing_against_concrete() -> None:
    (plan,) = plans(element(materials=("Reinforcing steel B500B", "Concrete C30/37"), properties=PRECAST))
    assert [(p.method, p.material, p.strength_class) for p in plan.parts] == [
        ("precast", "Concrete C30/37", "C30/37")
    ]
    assert plan.findings == ()


# -- elements without a role, assemblies, shells -----------------------------------------------------------


def test_without_a_role_only_what_stays_as_a_form_remains() -> None:
    covering = {"ifc_class": "IfcCovering", "role": ""}
    found = plans(
        element(materials=("Ceramic tile",), **covering),
        element(materials=("Steel decking",), **covering),
        element(materials=("Default",), **covering),
    )
    assert [(p.role, p.parts[0].permanent_formwork) for p in found] == [("", True)]
    assert found[0].findings == ()


def test_a_topping_modelled_as_a_covering_is_not_lost() -> None:
    topping = element(ifc_class="IfcCovering", role="", predefined_type="TOPPING", materials=("Concrete",))
    (plan,) = plans(topping)
    assert (plan.role, plan.subrole, plan.parts[0].method) == ("slab", "TOPPING", "cast-in-place")
    assert "covering-taken-in" in kinds(plan)


def test_lifting_anchors_tell_of_the_whole_assembly() -> None:
    flight = element(materials=("Concrete",), assembly="a")
    side = element(global_id="h", materials=("Concrete",), assembly="a")
    other = element(global_id="i", materials=("Concrete",))
    found = plans(flight, side, other, embedded=(Embedded("e", "IfcBeam", "Hijsanker", "Steel", "g"),))
    assert [plan.parts[0].method for plan in found] == ["precast", "precast", "cast-in-place"]


@pytest.mark.parametrize(("thickness", "wanted"), [(0.06, []), (0.25, ["shell-too-thick"]), (None, [])])
def test_a_half_slab_too_thick_to_be_one(thickness: float | None, wanted: list[str]) -> None:
    (plan,) = plans(element(materials=("Beton",), type_name="Breedplaatvloer"))
    part = plan.parts[0]
    measured = MeasuredPart(
        "m", "g", 1, "IfcSlab", "", "", "", "", "slab", "", part.method, part.evidence, "", "",
        net_volume_m3=2.5, thickness_m=thickness,
    )  # fmt: skip
    found = shell_findings([plan], [measured], shipped_rules())
    assert part.shell
    assert [f.kind for f in found] == wanted
    assert [f.worth for f in found] == [2.5 for _ in wanted]


def test_order_and_time_of_many_elements() -> None:
    """A plan for each element in its order; texts that differ by a number are read once (measured: 0.1 ms each)."""
    many = tuple(
        element(
            global_id=f"g{i}", name=f"Wall:Concrete ({i}mm):{i}", materials=("Concrete",), properties=PRECAST
        )
        for i in range(5000)
    )
    began = time.process_time()
    found = plans(*many)
    assert [plan.facts.global_id for plan in found] == [facts.global_id for facts in many]
    assert {plan.parts[0].method for plan in found} == {"precast"}
    assert time.process_time() - began < 5.0


@pytest.mark.parametrize(
    ("known", "subrole"),
    [
        ({"type_name": "geisoleerde_kanaalplaat 200"}, "HOLLOWCORE"),
        ({"name": "Hollow-core slab HC265", "subrole": "ROOF"}, "HOLLOWCORE"),
        ({"name": "Spannbetonhohldecke"}, "HOLLOWCORE"),
        ({"name": "dalle alvéolaire"}, "HOLLOWCORE"),
        ({"name": "Precast plank", "type_name": "Plank 70"}, "FLOOR"),
        ({"name": "Topping on hollow core", "type_name": "precast concrete"}, "FLOOR"),
        ({"name": "Hollow core base", "subrole": "BASESLAB"}, "BASESLAB"),
        ({"name": "Hollow core beam", "role": "beam", "subrole": "BEAM"}, "BEAM"),
    ],
)
def test_hollow_core_is_known_by_its_words(known: dict[str, object], subrole: str) -> None:
    told = {"role": "slab", "subrole": "FLOOR", "materials": ("Precast concrete",), **known}
    (plan,) = plans(element(**told))
    assert plan.subrole == subrole
    noted = [finding.kind for finding in plan.findings if finding.kind == "kind-by-words"]
    assert noted == (["kind-by-words"] if subrole == "HOLLOWCORE" else [])


def test_plans_are_the_same_whoever_makes_them() -> None:
    build_up = BuildUp((Layer("Beton prefab", 0.2), Layer("EPS", 0.133)), axis=2, sense=-1, offset=0.1)
    known = {"type_name": "insulated unit", "materials": ("EPS", "Beton prefab")}
    elements = (
        element(build_up=build_up, **known),
        element(global_id="h", **known),
        element(global_id="i", materials=("Steel",)),
        element(global_id="j", role="", materials=("Gypsum",)),
        element(global_id="k", materials=("Precast concrete", "In situ concrete")),
    )
    model = ModelFacts("m", "", "", "IFC4", 1.0, elements=elements)

    def one_by_one(work, count, pack, unpack):  # type: ignore[no-untyped-def]
        return [unpack(pickle.loads(pickle.dumps(pack(work(range(n, n + 1)))))) for n in range(count)]

    found = plan_elements([model], shipped_rules(), spread=one_by_one)
    assert found == plan_elements([model], shipped_rules())
    assert len(found) == 4
