"""The shipped words in eleven languages: what each material text is taken for, and what it is not."""

from functools import cache

import pytest

from takeoff.measuring.methods import MethodRules, load_rules
from takeoff.measuring.parts import plan_elements
from takeoff.measuring.plan import ElementPlan
from takeoff.reading.facts import ElementFacts, ModelFacts
from takeoff.templates import template_path

# language -> what the text is taken for -> texts. `concrete`: concrete with no word on its making.
WORDS: dict[str, dict[str, list[str]]] = {
    "english": {
        "precast": [
            "Precast Concrete", "Concrete, Precast Smooth, Light Grey", "Concrete - Precast - 35 MPa", "PRECAST",
            "Prefabricated concrete", "hollow-core slab", "Hollowcore 265", "Hollow Core Plank", "half slab concrete",
            "twin wall", "Pre-cast concrete", "Concrete sandwich panel",
        ],
        "cast-in-place": [
            "Concrete - Cast In Situ", "Concrete, Cast-in-Place gray", "CIP concrete", "Concrete in-situ",
            "Insitu concrete", "poured in place concrete", "Concrete (cast-in-situ) C30/37", "CastInPlaceConcrete",
            "In situ concrete topping on precast planks", "shotcrete",
        ],
        "tilt-up": ["Tilt-up concrete", "Concrete tilt-up panel", "Tilt wall"],
        "concrete": [
            "Concrete", "Reinforced concrete", "RC", "Concrete C30/37", "C30/37", "Plain concrete",
            "Lightweight concrete", "Concrete, Normal Weight - 5 ksi", "Steel fibre concrete", "CONCRETE/C45/55",
            "timber formed concrete", "Concrete under screed", "Concrete slab, screeded finish",
        ],
        "not-concrete": [
            "Masonry - Concrete Block", "Concrete Masonry Units", "Concrete Blocks", "ConcreteBlock",
            "Precast concrete blocks", "hollow concrete block", "Lightweight concrete block", "aerated concrete",
            "AAC panel", "concrete roof tile", "Roof Tile, Concrete", "concrete screed", "Screed", "cement mortar",
            "Masonry - Grout", "Concrete, Sand/Cement Screed", "concrete paving", "asphalt concrete", "S355J2",
            "Metal - Steel - 345 MPa", "Timber", "Brick, Common", "Glass", "Plasterboard", "EPS", "foam concrete",
            "Insulation under concrete slab", "Waterproofing to concrete", "MISCELLANEOUS/ISOL_HARD", "STEEL/8.8",
            "REBAR_MESH/B500",
        ],
    },
    "dutch": {
        "precast": [
            "02 Beton gewapend - prefab", "prefab beton", "Betonprefab", "kanaalplaat", "voorgespannen kanaalplaat",
            "Kanaalplaatvloer 200", "breedplaat", "prefab betonnen trap", "welfsels", "predallen",
        ],
        "cast-in-place": [
            "02 Beton gewapend - ihw VLOER", "beton i.h.w.", "in het werk gestort beton", "beton ihwg", "druklaag",
            "gestort beton", "druklaag op kanaalplaat",
        ],
        "concrete": ["Beton gewapend", "02 Beton ongewapend C", "gewapend beton", "Betonmortel C30/37", "betonvloer"],
        "not-concrete": [
            "betonblokken", "betonsteen", "betontegels", "cellenbeton", "GASBETON 100X80", "betonplex", "betonstaal",
            "03 Metselwerk - kalkzandsteen C", "03 mw-baksteen - geel (liggend)", "zandcement dekvloer",
            "99 Isolatie - EPS", "033 - constructief staal", "prefab houten trap", "prefab staal", "gipsplaat",
        ],
    },
    "german": {
        "precast": [
            "Betonfertigteil", "Stahlbeton-Fertigteil", "STB-FT", "Beton (FT)", "Halbfertigteil Beton", "Elementwand",
            "Filigrandecke", "Stahlbeton Fertigteilwand", "Spannbetonhohldiele", "Doppelwand", "Beton Sandwichelement",
        ],
        "cast-in-place": [
            "Ortbeton", "Stahlbeton-Ortbeton", "Beton Ortbeton C25/30", "Aufbeton", "Ortbetonergänzung auf Fertigteil",
            "Sauberkeitsschicht",
        ],
        "concrete": [
            "Stahlbeton 65690", "Leichtbeton 102890359", "StB", "WU-Beton", "Sichtbeton", "Stahlfaserbeton",
            "Spannbeton", "Ziegelsplittbeton",
        ],
        "not-concrete": [
            "Porenbeton", "Gasbeton", "Betonsteine", "Betondachsteine", "Kalksandstein", "Mauerwerk", "Zementestrich",
            "Holzfertigteil", "Baustahl", "Betonstahl B500", "Wärmedämmung", "Waermedaemmung", "Gipskarton", "Mörtel",
            "Moertel", "Faserbetonplatte", "Leichtbetonsteine", "Asphaltbeton", "Holzbeton",
        ],
    },
    "french": {
        "precast": [
            "Béton préfabriqué", "BETON PREFABRIQUE", "Prédalle", "prédalles 6cm", "prémur", "Dalle alvéolaire",
            "Béton armé préfa",
        ],
        "cast-in-place": [
            "Béton coulé en place", "béton coulé sur place", "Béton armé (coulé en place) C25/30", "voile banché",
        ],
        "concrete": ["Béton armé", "B.A.", "Béton léger", "béton C25/30 XC1"],
        "not-concrete": [
            "béton cellulaire", "blocs de béton", "parpaing", "brique", "chape", "Chape béton", "mortier", "acier",
            "bois", "laine de verre", "tuiles en béton", "pavés béton", "béton bitumineux", "Enduit",
        ],
    },
    "spanish": {
        "precast": ["Hormigón prefabricado", "losa alveolar", "Losas alveolares", "prelosa", "placa alveolar"],
        "cast-in-place": [
            "Hormigón in situ", "hormigón armado vertido in situ", "concreto colado en obra",
            "hormigón hormigonado in situ",
        ],
        "concrete": ["hormigón armado", "concreto armado", "HA-25/B/20/IIa"],
        "not-concrete": [
            "bloques de hormigón", "hormigón celular", "ladrillo", "mortero", "acero", "madera", "aislamiento",
            "teja de hormigón", "adoquín de hormigón", "yeso",
        ],
    },
    "italian": {
        "precast": [
            "Calcestruzzo prefabbricato", "c.a. prefabbricato", "pannello prefabbricato in calcestruzzo",
            "solaio alveolare", "lastre predalles", "tegoli",
        ],
        "cast-in-place": ["calcestruzzo gettato in opera", "calcestruzzo in opera", "cls in opera", "magrone"],
        "concrete": ["calcestruzzo", "C.A.", "cls armato", "cemento armato", "calcestruzzo alleggerito"],
        "not-concrete": [
            "blocchi in calcestruzzo", "blocco di cls", "calcestruzzo cellulare", "massetto", "malta", "acciaio",
            "legno", "laterizio", "mattoni", "isolante", "intonaco", "cartongesso",
        ],
        "unresolved": ["laterocemento"],
    },
    "portuguese": {
        "precast": ["Betão pré-fabricado", "betão prefabricado", "laje alveolar", "pré-laje", "concreto pré-moldado"],
        "cast-in-place": ["betão moldado in loco", "concreto moldado in loco", "betão betonado in situ"],
        "concrete": ["betão armado", "concreto"],
        "not-concrete": [
            "blocos de betão", "bloco de concreto", "betão celular", "betonilha", "argamassa", "aço", "madeira",
            "tijolo", "alvenaria", "isolamento", "reboco", "betão betuminoso",
        ],
    },
    "danish": {
        "precast": ["huldæk", "HULDAEK", "Betonelement", "Beton, præfabrikeret"],
        "cast-in-place": ["pladsstøbt beton", "Beton pladsstøbt", "pladsstobt beton", "Beton, in situ"],
        "concrete": ["armeret beton", "jernbeton", "letbeton"],
        "not-concrete": [
            "porebeton", "betonsten", "betonblokke", "gasbeton", "mursten", "stål", "træ", "isolering", "mørtel",
            "letklinkerblokke", "gips",
        ],
    },
    "norwegian": {
        "precast": ["hulldekke", "betongelement", "prefabrikkert betong", "plattendekke"],
        "cast-in-place": ["plasstøpt betong", "Betong, plasstøpt", "Betong plass-støpt"],
        "concrete": ["armert betong", "lettbetong"],
        "not-concrete": [
            "porebetong", "betongstein", "betongblokk", "murstein", "stål", "tre", "isolasjon", "lettklinkerblokk",
        ],
    },
    "swedish": {
        "precast": ["håldäck", "plattbärlag", "Betong prefab", "prefabricerad betong", "skalvägg"],
        "cast-in-place": ["platsgjuten betong", "Betong, platsgjuten", "platsgjutet"],
        "concrete": ["armerad betong", "betong C30/37"],
        "not-concrete": [
            "lättbetong", "betongsten", "betonghålsten", "tegel", "stål", "trä", "limträ", "isolering", "gasbetong",
            "murbruk",
        ],
    },
    "finnish": {
        "precast": ["ontelolaatta", "kuorilaatta", "betonielementti", "Betoni, elementti", "Ontelolaatat"],
        "cast-in-place": ["paikalla valettu betoni", "Betoni, paikallavalettu", "paikallavalu"],
        "concrete": ["teräsbetoni", "betoni"],
        "not-concrete": [
            "kevytbetoni", "betoniharkko", "kevytsoraharkko", "tiili", "teräs", "puu", "liimapuu", "eriste",
            "mineraalivilla", "laasti", "Harjateräs",
        ],
    },
    "of no language": {
        "unresolved": [
            "Solid 397409098", "Undefined/3500", "Default", "<By Category>", "Radial Gradient Fill 1515460218",
            "prefab", "Generic", "",
        ],
    },
}  # fmt: skip


@cache
def shipped_rules() -> MethodRules:
    return load_rules(template_path("methods.toml"))


def plan_of(material: str) -> ElementPlan:
    facts = ElementFacts("m", 1, "g", "IfcWall", role="wall", materials=(material,) if material else ())
    (plan,) = plan_elements([ModelFacts("m", "", "", "IFC4", 1.0, elements=(facts,))], shipped_rules())
    return plan


@pytest.mark.parametrize(
    ("wanted", "text"),
    [
        pytest.param(wanted, text, id=f"{language}: {text}")
        for language, by_method in WORDS.items()
        for wanted, texts in by_method.items()
        for text in texts
    ],
)
def test_material_text(wanted: str, text: str) -> None:
    plan = plan_of(text)
    (part,) = plan.parts
    kinds = {finding.kind for finding in plan.findings}
    assert "method-contradiction" not in kinds
    if wanted == "concrete":
        assert part.method == "cast-in-place"
        assert part.evidence.startswith("assumption: ")
        assert kinds == {"method-assumed"}
    else:
        assert part.method == wanted
        assert bool(kinds) == (wanted == "unresolved")


def test_case_and_accents_do_not_count() -> None:
    assert plan_of("PRÉDALLE").parts[0].method == plan_of("predalle").parts[0].method == "precast"


@pytest.mark.parametrize("text", ["Concretesoftware", "Discrete 12", "Preciast", "Bentonite"])
def test_words_are_whole(text: str) -> None:
    """A word inside another one is not found unless its pattern says so with `*`."""
    assert plan_of(text).parts[0].method == "unresolved"
