"""Rules files: what a rule does, the rank of evidence, and what a faulty file is told."""

from pathlib import Path

import pytest

from takeoff.findings import InputError
from takeoff.measuring.methods import load_rules
from takeoff.measuring.overrides import Overrides, load_overrides, unused_overrides
from takeoff.measuring.parts import plan_elements
from takeoff.measuring.plan import ElementPlan
from takeoff.reading.facts import ElementFacts, Embedded, ModelFacts, PropertyValue
from takeoff.templates import template_path

HEAD = """
[assume]
concrete = "cast-in-place"
foundation_without_material = "cast-in-place"
no_material = "unresolved"
unknown_material = "unresolved"
[limits]
thickest_shell_mm = 100
[words.concrete]
english = ["concrete"]
"""
RULE = """
[[rule]]
field = "material"
words = ["@concrete"]
method = "concrete"
because = "concrete"
"""
GENERAL = "Pset_ConcreteElementGeneral"


def write(folder: Path, text: str) -> Path:
    path = folder / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def plan(
    facts: ElementFacts,
    rules: Path | None = None,
    overrides: Overrides | None = None,
    embedded: tuple[Embedded, ...] = (),
) -> ElementPlan:
    loaded = load_rules(rules or template_path("methods.toml"))
    model = ModelFacts("m", "", "", "IFC4", 1.0, elements=(facts,), embedded=embedded)
    (found,) = plan_elements([model], loaded, overrides)
    return found


def wall(**known: object) -> ElementFacts:
    return ElementFacts("m", 1, "g1", "IfcWall", role="wall", **known)  # type: ignore[arg-type]


def kinds(found: ElementPlan) -> list[str]:
    return [finding.kind for finding in found.findings]


# -- standard properties -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("set_name", "name", "value", "method"),
    [
        (GENERAL, "CastingMethod", "INSITU", "cast-in-place"),
        (GENERAL, "CastingMethod", "PRECAST", "precast"),
        (GENERAL, "ConstructionMethod", "In-Situ", "cast-in-place"),
        (GENERAL, "ConstructionMethod", "Precast", "precast"),
        (GENERAL, "ConstructionMethod", "tilt-up", "tilt-up"),
        (GENERAL, "ConstructionType", "In-Situ", "cast-in-place"),
        (GENERAL, "AssemblyPlace", "FACTORY", "precast"),
        (GENERAL, "AssemblyPlace", "OFFSITE", "precast"),
        ("Pset_PrecastConcreteElementGeneral", "TypeDesignator", "W1", "precast"),
        ("Pset_PrecastConcreteElementFabrication", "SerialNumber", "0017", "precast"),
        ("Pset_PrecastSlab", "NominalThickness", 0.2, "precast"),
        ("Bauteil", "Herstellungsart", "Fertigteil", "precast"),
        ("Bauteil", "Herstellungsart", "Ortbeton", "cast-in-place"),
        ("eigenschappen", "uitvoering", "in het werk gestort", "cast-in-place"),
        ("eigenschappen", "Uitvoeringswijze", "prefab", "precast"),
        ("Caractéristiques", "Mode de mise en oeuvre", "préfabriqué", "precast"),
        ("Caratteristiche", "Modalità di getto", "in opera", "cast-in-place"),
        ("Datos", "Método constructivo", "prefabricado", "precast"),
        ("Tiedot", "Valmistustapa", "paikallavalu", "cast-in-place"),
        ("Egenskaper", "Gjutmetod", "platsgjuten", "cast-in-place"),
        ("Data", "Precast", True, "precast"),
    ],
)
def test_property_states_the_method(set_name: str, name: str, value: PropertyValue, method: str) -> None:
    found = plan(wall(materials=("Concrete C30/37",), properties={set_name: {name: value}}))
    assert found.parts[0].method == method
    assert found.parts[0].evidence.startswith(f"property {set_name}.{name} = {value} (")
    assert found.findings == ()


@pytest.mark.parametrize("value", ["", "-", "NOTKNOWN", "UNSET", "n/a", 0.0, False, "TypeDesignator"])
def test_an_unfilled_property_says_nothing(value: PropertyValue) -> None:
    sets = {"Pset_PrecastConcreteElementGeneral": {"TypeDesignator": value}}
    found = plan(wall(materials=("Concrete",), properties=sets))
    assert found.parts[0].method == "cast-in-place"
    assert kinds(found) == ["method-assumed"]


def test_mixed_casting_is_for_a_person_to_resolve() -> None:
    found = plan(wall(materials=("Concrete",), properties={GENERAL: {"CastingMethod": "MIXED"}}))
    assert found.parts[0].method == "unresolved"
    assert kinds(found) == ["method-unresolved"]


def test_put_together_on_site_is_a_weak_hint() -> None:
    sets = {GENERAL: {"AssemblyPlace": "SITE"}}
    assert plan(wall(materials=("Beton prefab",), properties=sets)).parts[0].method == "precast"
    assert kinds(plan(wall(materials=("Beton",), properties=sets))) == ["method-assumed"]


# -- rank and contradiction --------------------------------------------------------------------------------


def test_property_beats_material_and_the_contradiction_is_told() -> None:
    sets = {GENERAL: {"CastingMethod": "PRECAST"}}
    found = plan(wall(materials=("Concrete - Cast In Situ",), properties=sets))
    assert found.parts[0].method == "precast"
    (finding,) = found.findings
    assert (finding.kind, finding.severity) == ("method-contradiction", "warning")
    assert "CastingMethod = PRECAST" in finding.message
    assert 'material "Concrete - Cast In Situ"' in finding.message
    assert finding.assumed == "precast"


def test_material_beats_type_and_type_beats_name() -> None:
    found = plan(wall(materials=("Beton prefab",), type_name="Ortbetonwand", name="W1"))
    assert (found.parts[0].method, kinds(found)) == ("precast", ["method-contradiction"])
    found = plan(wall(materials=("Beton",), type_name="Ortbetonwand", name="Fertigteil 1"))
    assert (found.parts[0].method, kinds(found)) == ("cast-in-place", ["method-contradiction"])
    assert found.parts[0].evidence == 'type "Ortbetonwand" (cast in place)'


def test_a_text_that_names_both_agrees_with_either() -> None:
    """A topping's type names the planks under it: that contradicts nothing."""
    found = plan(
        wall(materials=("02 Beton gewapend - ihw",), type_name="IFC_breedplaat_betonvloer_ihw_290mm")
    )
    assert (found.parts[0].method, kinds(found)) == ("cast-in-place", [])


def test_steel_with_a_precast_property_stays_steel_and_is_told() -> None:
    found = plan(wall(materials=("Steel S235",), properties={GENERAL: {"CastingMethod": "PRECAST"}}))
    assert (found.parts[0].method, kinds(found)) == ("not-concrete", ["method-contradiction"])


@pytest.mark.parametrize("known", [{"name": "Brick wall"}, {"type_name": "Concrete block wall 200"}])
def test_plain_concrete_whose_name_says_otherwise_is_told(known: dict[str, str]) -> None:
    found = plan(wall(materials=("Concrete",), **known))
    assert found.parts[0].method == "cast-in-place"
    assert "method-contradiction" in kinds(found)


# -- what nothing tells ------------------------------------------------------------------------------------


def test_no_material_is_unresolved() -> None:
    found = plan(wall())
    assert found.parts[0].method == "unresolved"
    assert [(f.kind, f.severity) for f in found.findings] == [("material-missing", "warning")]


def test_an_unknown_material_is_unresolved_and_its_text_is_listed() -> None:
    found = plan(wall(materials=("Solid 397409098",)))
    assert found.parts[0].method == "unresolved"
    (finding,) = found.findings
    assert finding.kind == "material-unknown"
    assert "Solid 397409098" in finding.message


def test_an_unknown_material_with_a_telling_name() -> None:
    beam = ElementFacts("m", 1, "g", "IfcMember", role="beam", materials=("Solid",), name="Sparren-12")
    assert plan(beam).parts[0].evidence == 'name "Sparren-12" (timber)'
    found = plan(wall(materials=("Solid",), type_name="Stahlbetonwand 24"))
    assert (found.parts[0].method, kinds(found)) == ("cast-in-place", ["method-assumed"])


def test_prefabricated_alone_is_not_concrete() -> None:
    assert plan(wall(name="prefab wall")).parts[0].method == "unresolved"
    assert plan(wall(name="prefab wall", materials=("Timber",))).parts[0].method == "not-concrete"
    assert plan(wall(name="prefab wall", materials=("Concrete",))).parts[0].method == "precast"


@pytest.mark.parametrize("materials", [(), ("Default",)])
def test_a_foundation_without_a_telling_material_is_concrete(materials: tuple[str, ...]) -> None:
    facts = ElementFacts("m", 1, "g", "IfcFooting", role="foundation", materials=materials)
    found = plan(facts)
    assert found.parts[0].method == "cast-in-place"
    assert found.parts[0].evidence.startswith("assumption: ")
    assert kinds(found) == ["material-unknown" if materials else "material-missing"]


def test_a_material_given_as_a_property() -> None:
    sets = {"Type": {"Material": "Concrete - Cast In Situ", "Grade": "Grade"}}
    found = plan(ElementFacts("m", 1, "g", "IfcFooting", role="foundation", properties=sets))
    assert found.parts[0].method == "cast-in-place"
    assert found.parts[0].evidence.startswith('property Type.Material "Concrete - Cast In Situ"')
    assert found.parts[0].material == "Concrete - Cast In Situ"
    assert found.findings == ()


def test_a_strength_class_is_word_of_concrete() -> None:
    found = plan(wall(properties={"Bauteil": {"Festigkeitsklasse": "C30/37"}}))
    assert (found.parts[0].method, found.parts[0].strength_class) == ("cast-in-place", "C30/37")


def test_a_marked_unit_is_taken_as_precast_with_a_finding() -> None:
    found = plan(wall(materials=("CONCRETE/C45/55",), assembly="a", assembly_mark="SB-04-08"))
    assert found.parts[0].method == "precast"
    assert [(f.kind, f.severity) for f in found.findings] == [("method-assumed", "warning")]


def test_lifting_anchors_tell_a_piece() -> None:
    anchor = Embedded("e", "IfcDiscreteAccessory", "Hijsanker M14", "Steel", "g1")
    found = plan(wall(materials=("Concrete",)), embedded=(anchor,))
    assert found.parts[0].evidence == 'embedded "Hijsanker M14" (has lifting anchors)'
    assert (found.parts[0].method, kinds(found)) == ("precast", [])


# -- the user's own rules and list -------------------------------------------------------------------------


def test_the_users_rule_beats_properties(tmp_path: Path) -> None:
    shipped = template_path("methods.toml").read_text(encoding="utf-8")
    own = '[[own]]\nfield = "name"\nwords = ["gable*"]\nmethod = "tilt-up"\nbecause = "agreed"\n'
    rules = write(tmp_path, shipped + own)
    facts = wall(name="Gable 2", materials=("Concrete",), properties={GENERAL: {"CastingMethod": "PRECAST"}})
    found = plan(facts, rules)
    assert found.parts[0].method == "tilt-up"
    assert found.parts[0].evidence == 'user\'s rule: name "Gable 2" (agreed)'


@pytest.mark.parametrize(
    ("field", "facts"),
    [
        ("class", wall()),
        ("predefined_type", wall(predefined_type="SHEAR")),
        ("name", wall(name="Axis B wall")),
        ("type", wall(type_name="Type B wall")),
        ("type", wall(object_type="Type B wall")),
        ("mark", wall(mark="B-17 wall")),
        ("material", wall(materials=("B wall stuff",))),
        ("presentation_layer", wall(presentation_layers=("S-WALL", "B wall"))),
        ("storey", wall(storey="Level wall")),
        ("classification", wall(classifications=("21.21 Outer wall",))),
        ("assembly_mark", wall(assembly_mark="wall 3")),
    ],
)
def test_every_field_can_be_asked(tmp_path: Path, field: str, facts: ElementFacts) -> None:
    words = {"class": "ifcwall", "predefined_type": "shear"}.get(field, "wall")
    own = f'[[own]]\nfield = "{field}"\nwords = ["{words}"]\nmethod = "precast"\nbecause = "so"\n'
    rules = write(tmp_path, HEAD + RULE + own)
    assert plan(facts, rules).parts[0].method == "precast"
    other = ElementFacts("m", 1, "g", "IfcSlab", role="slab", predefined_type="FLOOR", materials=("Slab",))
    assert plan(other, rules).parts[0].method == "unresolved"


@pytest.mark.parametrize("pattern", ["My Set.How made", "*.How made", "My*.*made", "myset.howmade"])
def test_property_names_with_wildcards(tmp_path: Path, pattern: str) -> None:
    own = f'[[own]]\nproperty = "{pattern}"\nwords = ["plant #"]\nmethod = "precast"\nbecause = "so"\n'
    rules = write(tmp_path, HEAD + RULE + own)
    assert plan(wall(properties={"My Set": {"How made": "Plant 12"}}), rules).parts[0].method == "precast"
    assert plan(wall(properties={"My Set": {"How made": "plant"}}), rules).parts[0].method == "unresolved"
    assert plan(wall(properties={"Other": {"Why": "plant 12"}}), rules).parts[0].method == "unresolved"


def test_own_words_that_are_excepted(tmp_path: Path) -> None:
    own = (
        '[[own]]\nfield = "name"\nwords = ["panel"]\nnot = ["access panel"]\n'
        'method = "precast"\nbecause = "so"\n'
    )
    rules = write(tmp_path, HEAD + RULE + own)
    assert plan(wall(name="Panel 3"), rules).parts[0].method == "precast"
    assert plan(wall(name="Access panel 3"), rules).parts[0].method == "unresolved"
    assert plan(wall(name="Panel with access panel"), rules).parts[0].method == "precast"


def test_the_list_beats_everything(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("global_id,mark,method,note\ng1,,tilt-up,agreed\n,W-7,precast,\n", encoding="utf-8")
    overrides = load_overrides(path)
    facts = wall(materials=("Steel",), properties={GENERAL: {"CastingMethod": "PRECAST"}})
    found = plan(facts, overrides=overrides)
    assert (found.parts[0].method, found.parts[0].evidence) == ("tilt-up", "user's list: list.csv line 2")
    assert found.findings == ()
    other = ElementFacts("m", 2, "g2", "IfcWall", role="wall", mark="w-7 ")
    assert plan(other, overrides=overrides).parts[0].method == "precast"


def test_lines_of_the_list_that_name_nothing(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("global_id;mark;method\ng1;;precast\ng9;;precast\n;W-8;tilt-up\n", encoding="utf-8-sig")
    model = ModelFacts("m", "", "", "IFC4", 1.0, elements=(wall(mark="W-7"),))
    found = unused_overrides([model], load_overrides(path))
    assert [(f.kind, f.global_id) for f in found] == [("override-unused", "g9"), ("override-unused", "")]
    assert "list.csv line 4" in found[1].message


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("id,method\ng,precast\n", "unknown column 'id'"),
        ("global_id,mark\ng,m\n", "wanted are"),
        ("global_id,method\ng,steel\n", "line 2: method 'steel'"),
        ("global_id,method\n,precast\n", "line 2: names no element"),
        ("global_id,method\ng,precast\n\ng,tilt-up\n", "line 4: g has another method in list.csv line 2"),
        ("global_id,method\ng,precast,x\n", "line 2: 3 cells"),
    ],
)
def test_faults_of_a_list(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_overrides(path)
    assert told in str(fault.value)
    assert str(path) in str(fault.value)
    assert "\n" not in str(fault.value)


# -- faults of a rules file --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HEAD, "rule: is missing"),
        (HEAD + RULE + RULE.replace("material", "colour"), "rule 2, field"),
        (HEAD + RULE.replace('method = "concrete"', 'method = "steel"'), "rule 1, method"),
        (HEAD + RULE.replace('words = ["@concrete"]', "words = 3"), "rule 1, words"),
        (HEAD + RULE.replace('words = ["@concrete"]', "words = []"), "rule 1, words"),
        (HEAD + RULE.replace('["@concrete"]', '["@steel"]'), "@steel: [words] has no list of this name"),
        (HEAD + RULE.replace('["@concrete"]', '["--"]'), "rule 1: the pattern '--' holds no word"),
        (HEAD + RULE.replace('because = "concrete"', ""), "rule 1, because: is missing"),
        (HEAD + RULE + "colour = 1\n", "rule 1, colour: is not known"),
        (HEAD + RULE + 'property = "A.B"\n', "rule 1: give either `field` or `property`"),
        (HEAD + RULE.replace('field = "material"', 'property = "AB"'), "not of the form"),
        (HEAD + RULE + 'assumed = "yes"\n', "rule 1, assumed"),
        (RULE, "assume: is missing"),
        (HEAD + RULE + "[[rule\n", "is no valid TOML"),
        (HEAD.replace("cast-in-place", "wood", 1) + RULE, "assume.concrete"),
    ],
)
def test_faults_of_a_rules_file(tmp_path: Path, text: str, told: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(InputError) as fault:
        load_rules(path)
    assert told in str(fault.value)
    assert str(path) in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_missing_or_unreadable_rules_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_rules(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b'nothing = ["\xe9"]')
    with pytest.raises(InputError, match="UTF-8"):
        load_rules(tmp_path / "latin.toml")
