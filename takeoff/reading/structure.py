"""Which products of a model are its elements, and what makes the body of each: every cubic metre once."""

from collections.abc import Iterator
from typing import Any

from msgspec import Struct, field

from takeoff.findings import Finding
from takeoff.reading.attributes import attribute, clean, first_line, identity, name_of
from takeoff.reading.materials import Materials
from takeoff.reading.places import Placements
from takeoff.reading.properties import Properties
from takeoff.reading.relations import Relations
from takeoff.reading.roles import (
    KINDS,
    PIECES,
    SKIPPED_WHOLES,
    WHOLES,
    Kind,
    guessed_role,
    kind_of,
    predefined_type,
    role_of,
)
from takeoff.reading.shapes import has_body
from takeoff.reading.words import DECKING, Substance, is_rebar, plain, substance

_NEVER_PARTS = (
    "IfcFeatureElement",
    "IfcReinforcingElement",
    "IfcFastener",
    "IfcDiscreteAccessory",
    "IfcDoor",
    "IfcWindow",
    "IfcDistributionElement",
    "IfcFurnishingElement",
    "IfcVirtualElement",
    "IfcCovering",
    "IfcRailing",
    "IfcElementAssembly",
    "IfcVibrationIsolator",
    "IfcVibrationDamper",
)
"""Classes that are no part of an element's body, whatever aggregates them."""


class Context(Struct, frozen=True):
    """What the reader knows of a model while it reads: the parsed file and its indexes."""

    model: Any
    name: str
    relations: Relations
    properties: Properties
    materials: Materials
    placements: Placements


class Draft(Struct, frozen=True):
    """An element to be: its product, role, and the products whose bodies make it (itself, or parts, or
    none)."""

    product: Any
    role: str
    subrole: str
    predefined: str
    object_type: str
    bodies: tuple[Any, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def of_parts(self) -> bool:
        """Whether the body is made of parts."""
        return bool(self.bodies) and self.bodies[0].id() != self.product.id()


class Structure(Struct):
    """Elements by STEP id of their product, products that turned out to be reinforcement, what was left
    out."""

    drafts: dict[int, Draft] = field(default_factory=dict)
    bars: list[Any] = field(default_factory=list)
    left_out: list[Any] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


def read_structure(context: Context) -> Structure:
    """Sort the products of a model out, from the wholes down to the pieces."""
    walk = _Walk(context)
    candidates = _candidates(context.model)
    roots = []
    for product in candidates:
        parent = context.relations.parent.get(product.id())
        if parent is None or kind_of(parent) is None:
            roots.append(product)
    for product in roots:
        walk.visit(product, None)
    for product in candidates:
        if product.id() not in walk.seen and _is_own_ancestor(context.relations, product):
            walk.structure.findings.append(
                Finding(
                    "warning",
                    "aggregation-loop",
                    context.name,
                    identity(product),
                    "is part of itself by the model's relations; ask for a new export",
                    "taken on its own",
                )
            )
            walk.visit(product, None)
    return walk.structure


def _candidates(model: Any) -> list[Any]:
    """All products of the kinds that are looked at, in the order of their STEP ids, each once."""
    found: dict[int, Any] = {}
    for name in KINDS:
        try:
            listed = model.by_type(name, include_subtypes=False)
        except RuntimeError:
            continue
        found.update((product.id(), product) for product in listed)
    return [found[i] for i in sorted(found)]


def _is_own_ancestor(relations: Relations, product: Any) -> bool:
    """Whether the chain of wholes never comes to an end without a product seen before."""
    chain = [product.id(), *(whole.id() for whole in relations.ancestors(product))]
    last = relations.parent.get(chain[-1])
    return last is not None and last.id() in chain


def text_of(context: Context, product: Any) -> tuple[str, ...]:
    """Name, object type and type name: the texts by which people know an element."""
    kind = context.relations.type_of.get(product.id())
    texts = (name_of(product), clean(attribute(product, "ObjectType")), name_of(kind))
    return tuple(text for text in texts if text)


def substance_of(context: Context, product: Any) -> Substance:
    """What a product is made of: by its material, and only where it has none by its names."""
    material = context.materials.of(product)
    if material.text:
        return _mixed([substance(name) for name in material.names], material.text)
    found = [substance(text) for text in text_of(context, product)]
    return (
        "concrete" if "concrete" in found and "other" not in found else ("other" if "other" in found else "")
    )


def _mixed(found: list[Substance], text: str) -> Substance:
    """Concrete where any of several materials is; one material may say so by its category."""
    if "concrete" in found:
        return "concrete"
    if "other" in found:
        return "other"
    return substance(text) or "unknown"


class _Walk:
    """Visits products from wholes to pieces, each once."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.seen: set[int] = set()
        self.structure = Structure()

    def visit(self, product: Any, whole: Kind | None) -> None:
        """Make a product an element, or go on to its pieces; a fault costs this product only."""
        if product.id() in self.seen:
            return
        self.seen.add(product.id())
        kind = kind_of(product)
        if kind is None or _skipped(self.context.relations, product):
            return
        try:
            self._visit(product, kind, whole)
        except Exception as fault:
            self.structure.findings.append(unreadable(self.context.name, product, fault))

    def _visit(self, product: Any, kind: Kind, whole: Kind | None) -> None:
        children = self.context.relations.children.get(product.id(), ())
        frame = kind in WHOLES and children and (kind == "assembly" or not has_body(product))
        if frame and any(kind_of(child) in PIECES for child in self.context.relations.descendants(product)):
            for child in children:
                self.visit(child, whole if kind == "assembly" else kind)
            return
        if kind == "assembly" and not children and not has_body(product):
            return
        self._element(product, kind, whole)

    def _element(self, product: Any, kind: Kind, whole: Kind | None) -> None:
        context = self.context
        parts: tuple[Any, ...] = ()
        own = has_body(product)
        if not own:
            parts = tuple(_parts(context, product))
        for part in context.relations.descendants(product):
            if kind_of(part) == "covering":
                self.visit(part, None)
            self.seen.add(part.id())
        bodies = (product,) if own else parts
        type_entity = context.relations.type_of.get(product.id())
        predefined, object_type = predefined_type(product, type_entity)
        if kind in ("proxy", "part", "assembly"):
            self._proxy(product, predefined, object_type, bodies, whole)
            return
        material = context.materials.of(product)
        if (
            own
            and kind in ("beam", "member", "plate", "column")
            and any(is_rebar(name) for name in material.names)
        ):
            self.structure.bars.append(product)
            return
        if kind == "covering":
            role, subrole = "", predefined
            if not bodies:
                return
        elif kind in ("plate", "member") and _is_decking(context, product):
            role, subrole = "", predefined
        else:
            role, subrole = role_of(product, kind, predefined, whole, context.placements)
        self._keep(Draft(product, role, subrole, predefined, object_type, bodies))

    def _proxy(
        self, product: Any, predefined: str, object_type: str, bodies: tuple[Any, ...], whole: Kind | None
    ) -> None:
        """A proxy, part or assembly: an element only if it plainly is concrete and has a body."""
        context = self.context
        of_parts = bool(bodies) and bodies[0].id() != product.id()
        found = substance_of(context, product)
        if found == "" and of_parts:
            found = "concrete" if any(substance_of(context, b) == "concrete" for b in bodies) else found
        if found == "":
            found = self._of_wholes(product)
        if not bodies or found != "concrete":
            if bodies and kind_of(product) != "assembly":
                self.structure.left_out.append(product)
            return
        role, subrole, why = guessed_role(
            product, text_of(context, product), predefined, whole, context.placements
        )
        finding = Finding(
            "warning",
            "proxy-taken-in",
            context.name,
            identity(product),
            f"{product.is_a()} {name_of(product)} is concrete by its {_ground(context, product, bodies)}; "
            "ask for a proper class",
            f"role {role}, {why}",
        )
        self._keep(Draft(product, role, subrole, predefined, object_type, bodies, (finding,)))

    def _of_wholes(self, product: Any) -> Substance:
        """What the nearest stair, ramp, roof or assembly with a material is made of: its pieces inherit it."""
        for whole in self.context.relations.ancestors(product):
            material = self.context.materials.of(whole)
            if kind_of(whole) in WHOLES and material.text:
                return _mixed([substance(name) for name in material.names], material.text)
        return ""

    def _keep(self, draft: Draft) -> None:
        if not draft.bodies:
            finding = Finding(
                "warning",
                "no-body",
                self.context.name,
                identity(draft.product),
                f"{draft.product.is_a()} {name_of(draft.product)} has no body; ask for its geometry",
                "not measured",
            )
            self.structure.findings.append(finding)
        self.structure.findings.extend(draft.findings)
        self.structure.drafts[draft.product.id()] = draft


def _ground(context: Context, product: Any, bodies: tuple[Any, ...]) -> str:
    """By what a proxy was known as concrete."""
    names = context.materials.of(product).names
    if not names and bodies and bodies[0].id() != product.id():
        names = next((n for b in bodies if (n := context.materials.of(b).names)), ())
    return f"material {names[0]!r}" if names else "name"


def _skipped(relations: Relations, product: Any) -> bool:
    return any(whole.is_a(name) for whole in relations.ancestors(product) for name in SKIPPED_WHOLES)


def _is_decking(context: Context, product: Any) -> bool:
    """Whether names or material say that a plate or member is sheet decking."""
    texts = (*text_of(context, product), context.materials.of(product).text)
    return any(DECKING.search(plain(text)) for text in texts)


def _parts(context: Context, product: Any) -> Iterator[Any]:
    """The parts that are the body of a bodyless element: the concrete ones; where none plainly is concrete
    those that might be; else all of them (then the element is of another material)."""
    parts = list(_bodied(context, product, {product.id()}))
    found = [substance_of(context, part) for part in parts]
    wanted: tuple[tuple[Substance, ...], ...] = (("concrete",), ("", "unknown"), ("other",))
    by_material = [substance_of(context, part) if context.materials.of(part).text else "" for part in parts]
    if "concrete" in by_material:
        # Names count only where no part has concrete for its material: `Betonanker` is no concrete.
        found = by_material
    for chosen in wanted:
        picked = [part for part, s in zip(parts, found, strict=True) if s in chosen]
        if picked:
            yield from picked
            return


def _bodied(context: Context, product: Any, seen: set[int]) -> Iterator[Any]:
    """The parts with a body of their own; what such a part is made of again is not counted twice."""
    for part in context.relations.children.get(product.id(), ()):
        if part.id() in seen:
            continue
        seen.add(part.id())
        if part.is_a("IfcElement") and not any(part.is_a(name) for name in _NEVER_PARTS) and has_body(part):
            yield part
        else:
            yield from _bodied(context, part, seen)


def unreadable(name: str, product: Any, fault: Exception) -> Finding:
    """The finding for a product that the reader could not read."""
    return Finding(
        "error",
        "unreadable",
        name,
        identity(product),
        f"{product.is_a()} cannot be read ({first_line(fault)}); ask for a new export",
        "left out",
    )
