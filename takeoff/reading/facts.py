"""Facts: what a model says of its elements, in metres, square metres, cubic metres and kilograms.

These records leave the reader and are all that later stages know of the model. They are picklable.
"""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct, field

from takeoff.findings import Finding

PropertyValue = str | float | int | bool
QuantityKind = Literal["length", "area", "volume", "weight", "count"]


class Storey(Struct, frozen=True):
    """A building storey; `elevation` is metres above the model's zero, placements included; `building` the GlobalId
    of the building that it belongs to."""

    global_id: str
    name: str
    elevation: float
    building: str = ""


class TerrainFacts(Struct, frozen=True):
    """A product with a shape that may be the terrain; `predefined_type` and `object_type` empty for none."""

    step_id: int
    global_id: str
    ifc_class: str
    predefined_type: str
    object_type: str
    name: str


class BuildingFacts(Struct, frozen=True):
    """A building; `zero` is the height in the model, m, from which its storeys count. `ground` is that of the ground
    as its attributes state it, None without; `said` is in words how it follows from them."""

    global_id: str
    name: str
    zero: float
    ground: float | None
    said: str


class Layer(Struct, frozen=True):
    """One layer of a build-up: material name, thickness in metres, and the layer's own name or category."""

    material: str
    thickness: float
    name: str = ""


class BuildUp(Struct, frozen=True):
    """A material layer set on an element.

    `axis` is the local axis of the element's placement across which the layers are stacked (0 x, 1 y, 2 z),
    None where the model does not say (a layer set without a usage). Layer 1 starts at `offset` (metres along
    that axis, from the reference line) and the layers follow in the direction `sense` (+1 or -1).
    """

    layers: tuple[Layer, ...]
    axis: int | None = None
    sense: int = 1
    offset: float | None = None

    @property
    def thickness(self) -> float:
        """Sum of the layer thicknesses, metres."""
        return sum(layer.thickness for layer in self.layers)


class Declared(Struct, frozen=True):
    """A quantity that the exporting program wrote, in metres, m2, m3 or kg."""

    set_name: str
    name: str
    kind: QuantityKind
    value: float


class Bar(Struct, frozen=True):
    """Reinforcing bars, mesh or tendons modelled in the file: `count` of `length` metres each.

    `kind` is `bar`, `fabric` or `tendon`. `mass` is the total in kg: declared where declared, else from
    geometry or from diameter and length (7,850 kg/m3); `basis` says which. `host` is the GlobalId of the
    element it belongs to, empty where the model does not tell. `lines` are then the lines along which it is drawn,
    in the model's coordinates, m.
    """

    global_id: str
    kind: Literal["bar", "fabric", "tendon"]
    name: str
    diameter: float | None
    length: float | None
    count: int
    mass: float
    basis: str
    host: str
    lines: tuple[tuple[tuple[float, float, float], ...], ...] = ()


class Embedded(Struct, frozen=True):
    """Something cast into or fixed to a concrete element that is not its concrete (anchor, pipe, girder).

    `form` says what it is by its shape, where that tells: `lattice girder`, else empty.
    """

    global_id: str
    ifc_class: str
    name: str
    material: str
    host: str
    form: str = ""


class ElementFacts(Struct, frozen=True):
    """One physical element that may be concrete, or that matters to concrete (permanent formwork).

    `body` holds the STEP ids of the products whose Body representations make the element (itself, or its
    parts where it has no body of its own), `openings` those of the opening elements that void it or its
    parts. `role` and `subrole` are what class, predefined type and aggregation say (`role` empty: none of the
    six). `properties` are sets by name, instance over type. `assembly` is the GlobalId of the assembly it is
    part of. `storey` is the name of the storey that the model files it under. `body_materials` stands beside
    `body` where the element is made of parts: the material of each, empty where it has none of its own; an
    empty tuple where the body is the element's own. `material_categories` stands beside `materials`. `building` is
    the GlobalId of the building that it stands in.
    """

    model: str
    step_id: int
    global_id: str
    ifc_class: str
    predefined_type: str = ""
    object_type: str = ""
    name: str = ""
    type_name: str = ""
    mark: str = ""
    storey: str = ""
    storey_elevation: float | None = None
    role: str = ""
    subrole: str = ""
    materials: tuple[str, ...] = ()
    build_up: BuildUp | None = None
    presentation_layers: tuple[str, ...] = ()
    properties: Mapping[str, Mapping[str, PropertyValue]] = field(default_factory=dict)
    classifications: tuple[str, ...] = ()
    declared: tuple[Declared, ...] = ()
    body: tuple[int, ...] = ()
    openings: tuple[int, ...] = ()
    assembly: str = ""
    assembly_mark: str = ""
    description: str = ""
    body_materials: tuple[str, ...] = ()
    material_categories: tuple[str, ...] = ()
    building: str = ""


class ModelFacts(Struct, frozen=True):
    """All facts of one file. `path` is a plain STEP or XML file that a worker can open (zips are unpacked
    beside the run's scratch folder); `sha256` is of the file as given; `length_unit` in metres.
    `map_conversion` is the 4x4 matrix (row-major, 16 numbers, metres) from model to map coordinates, if any;
    `building` likewise that from the building's coordinates to the model's, from the site's where there are several
    buildings.
    """

    model: str
    path: str
    sha256: str
    schema: str
    length_unit: float
    project_name: str = ""
    storeys: tuple[Storey, ...] = ()
    elements: tuple[ElementFacts, ...] = ()
    bars: tuple[Bar, ...] = ()
    embedded: tuple[Embedded, ...] = ()
    findings: tuple[Finding, ...] = ()
    map_conversion: tuple[float, ...] | None = None
    map_name: str = ""
    application: str = ""
    building: tuple[float, ...] | None = None
    terrains: tuple[TerrainFacts, ...] = ()
    buildings: tuple[BuildingFacts, ...] = ()
