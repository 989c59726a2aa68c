"""Facts of elements: everything that the model says of one, gathered from itself, its type, parts and
wholes."""

from collections.abc import Iterable
from typing import Any

from msgspec import Struct, field

from takeoff.findings import Finding
from takeoff.reading.attributes import attribute, clean, identity, name_of
from takeoff.reading.facts import BuildingFacts, Declared, ElementFacts, PropertyValue, Storey
from takeoff.reading.marks import find_mark, find_unit_mark
from takeoff.reading.materials import Material
from takeoff.reading.places import storey_of
from takeoff.reading.properties import PropertySets, fill_in
from takeoff.reading.roles import WHOLES, kind_of
from takeoff.reading.shapes import has_body, layers_of
from takeoff.reading.sites import building_of
from takeoff.reading.structure import Context, Draft

_PLACES = {"FACTORY", "SITE"}


class ElementReader(Struct):
    """Turns drafts into facts. `layers` are presentation layers, `storeys` and `buildings` those of the model, all by
    STEP id."""

    context: Context
    storeys: dict[int, Storey]
    buildings: dict[int, BuildingFacts]
    layers: dict[int, tuple[str, ...]]
    findings: list[Finding] = field(default_factory=list)
    _wholes: dict[int, PropertySets] = field(default_factory=dict)
    _unit_marks: dict[int, str] = field(default_factory=dict)
    _references: dict[int, str] = field(default_factory=dict)

    def read(self, draft: Draft) -> ElementFacts:
        """The facts of one element. Raises what the file's faults make the parser raise."""
        context, product = self.context, draft.product
        relations = context.relations
        wholes = [w for w in relations.ancestors(product) if kind_of(w) in WHOLES]
        assembly = next((w for w in wholes if kind_of(w) == "assembly"), None)
        kind = relations.type_of.get(product.id())
        type_name = name_of(kind)
        sets, declared = context.properties.read(product)
        name, tag = name_of(product), clean(attribute(product, "Tag"))
        mark = find_mark(sets, tag, (name, draft.object_type, type_name))
        if draft.of_parts:
            sets, declared = self._with_parts(draft, sets, declared)
        for whole in wholes:
            sets = fill_in(sets, self._sets_of_whole(whole))
        material, inherited = self._material(draft, wholes)
        storey = storey_of(product, relations, self.storeys)
        if storey is None:
            self._note(
                "no-storey",
                product,
                f"{product.is_a()} {name} is filed under no storey",
                "its height decides",
            )
        build_up = material.build_up
        if build_up is not None and inherited and build_up.offset is not None:
            # The reference line is that of the whole; of a part only the direction of the layers is known.
            build_up = type(build_up)(build_up.layers, build_up.axis, build_up.sense, None)
        return ElementFacts(
            model=context.name,
            step_id=product.id(),
            global_id=identity(product),
            ifc_class=product.is_a(),
            predefined_type=draft.predefined,
            object_type=draft.object_type,
            name=name,
            type_name=type_name,
            mark=mark,
            storey=storey.name if storey else "",
            storey_elevation=storey.elevation if storey else None,
            role=draft.role,
            subrole=draft.subrole,
            materials=material.names,
            build_up=build_up,
            presentation_layers=self._presentation(draft),
            properties=sets,
            classifications=self._classified(product, kind),
            declared=declared,
            body=self._body(draft),
            openings=self._openings(draft),
            assembly=identity(assembly) if assembly is not None else "",
            assembly_mark=self._unit_mark(assembly) if assembly is not None else "",
            description=clean(product[3]),
            body_materials=self._body_materials(draft),
            material_categories=material.categories,
            building=building_of(product, relations, self.buildings),
        )

    def _note(self, kind: str, product: Any, message: str, assumed: str) -> None:
        self.findings.append(Finding("note", kind, self.context.name, identity(product), message, assumed))

    def _with_parts(
        self, draft: Draft, sets: PropertySets, declared: tuple[Declared, ...]
    ) -> tuple[PropertySets, tuple[Declared, ...]]:
        """Properties of the parts under the element's own; their quantities, summed, where it declares
        none."""
        sums: dict[tuple[str, str, str], Declared] = {}
        for part in draft.bodies:
            part_sets, part_declared = self.context.properties.read(part)
            sets = fill_in(sets, part_sets)
            for d in part_declared:
                place = (d.set_name, d.name, d.kind)
                known = sums.get(place)
                sums[place] = (
                    d if known is None else Declared(d.set_name, d.name, d.kind, known.value + d.value)
                )
        return sets, declared or tuple(sums.values())

    def _sets_of_whole(self, whole: Any) -> PropertySets:
        """Property sets of an assembly, stair, ramp or roof, and where the assembly is put together."""
        known = self._wholes.get(whole.id())
        if known is None:
            known = dict(self.context.properties.sets(whole))
            place = attribute(whole, "AssemblyPlace")
            if place in _PLACES:
                values: dict[str, PropertyValue] = {"AssemblyPlace": place}
                known[whole.is_a()] = values
            self._wholes[whole.id()] = known
        return known

    def _unit_mark(self, assembly: Any) -> str:
        known = self._unit_marks.get(assembly.id())
        if known is None:
            sets = self.context.properties.sets(assembly)
            known = self._unit_marks[assembly.id()] = find_unit_mark(sets, clean(attribute(assembly, "Tag")))
        return known

    def _material(self, draft: Draft, wholes: Iterable[Any]) -> tuple[Material, bool]:
        """(material, whether it is a whole's): the element's own or its type's, else that of its parts, else
        of the nearest whole that has one."""
        materials = self.context.materials
        own = materials.of(draft.product)
        if own.names or own.build_up:
            return own, False
        if draft.of_parts:
            every = [materials.of(part) for part in draft.bodies]
            pairs = dict.fromkeys(pair for m in every for pair in zip(m.names, m.categories, strict=True))
            if pairs:
                build_up = every[0].build_up if len(every) == 1 else None
                return Material(tuple(n for n, _ in pairs), tuple(c for _, c in pairs), build_up), True
        for whole in wholes:
            found = materials.of(whole)
            if found.names or found.build_up:
                return found, True
        return own, False

    def _body_materials(self, draft: Draft) -> tuple[str, ...]:
        if not draft.of_parts:
            return ()
        return tuple(", ".join(self.context.materials.of(part).names) for part in draft.bodies)

    def _body(self, draft: Draft) -> tuple[int, ...]:
        """STEP ids of the bodies, and of what the model adds to them as projections."""
        additions = self.context.relations.additions
        ids = [body.id() for body in draft.bodies]
        if not draft.of_parts:
            ids.extend(a.id() for a in additions.get(draft.product.id(), ()) if has_body(a))
        return tuple(ids)

    def _openings(self, draft: Draft) -> tuple[int, ...]:
        """STEP ids of what voids the element, its bodies, or a whole that it is part of."""
        openings = self.context.relations.openings
        if not openings:
            return ()
        found: dict[int, None] = {}
        for voided in (draft.product, *draft.bodies, *self.context.relations.ancestors(draft.product)):
            found.update((opening.id(), None) for opening in openings.get(voided.id(), ()))
        return tuple(found)

    def _presentation(self, draft: Draft) -> tuple[str, ...]:
        if not self.layers:
            return ()
        names: dict[str, None] = {}
        for body in draft.bodies or (draft.product,):
            names.update(dict.fromkeys(layers_of(body, self.layers)))
        return tuple(names)

    def _classified(self, product: Any, kind: Any) -> tuple[str, ...]:
        """Classification references of the element and of its type, as `identification name`."""
        classifications = self.context.relations.classifications
        found: dict[str, None] = {}
        for thing in (product, kind):
            if thing is not None:
                for reference in classifications.get(thing.id(), ()):
                    found[self._reference(reference)] = None
        found.pop("", None)
        return tuple(found)

    def _reference(self, reference: Any) -> str:
        known = self._references.get(reference.id())
        if known is None:
            code = attribute(reference, "Identification") or attribute(reference, "ItemReference") or ""
            name = name_of(reference)
            known = self._references[reference.id()] = " ".join(dict.fromkeys(t for t in (code, name) if t))
        return known
