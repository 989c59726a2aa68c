"""From a request to a result: one element's bodies joined, its voids cut, its slices taken."""

import time
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.booleans import BooleanFailed, bare, manifold, mesh_of, without_crumbs
from takeoff.geometry.items import Items, NoSolid, Solid, is_one_shell, moved, solid_moved, union
from takeoff.geometry.mesh import Floats, Mesh, volume
from takeoff.geometry.placements import Placements, applied, determinant, matrix_of
from takeoff.geometry.repair import NO_VOLUME, mend
from takeoff.geometry.representations import body_representation, other_bodies
from takeoff.geometry.shape_keys import shape_key
from takeoff.geometry.slicing import across, cuts, sliced
from takeoff.geometry.solids import Slice, SolidRequest, SolidResult
from takeoff.geometry.tessellation import KERNELS, tessellate
from takeoff.geometry.voids import Cut, cut_voids
from takeoff.told import Quantity, joined, told

Entity = Any
Manifold: TypeAlias = Any

_FAR = 1000.0
"""Own coordinates beyond this, metres, are brought near before booleans."""

_OUT_OF_REACH = 1e7
"""A body that stands further than this from the model's other bodies, metres, has lost its digits: half the Earth."""

_SHARE_LOST = 1e-3
"""Pieces that make no solid are left out, with a remark, when their boxes are at most this share of the body's."""


_NOTHING = 1e-9
"""What is left of a body counts as nothing below this, m3."""

_ENDLESS = 1e5
"""A body longer than this, metres, is no building part: a number in the file is wrong."""

_MOST_PIECES = 200_000
"""Pieces that a body may be put together of; mapped items within mapped items can stand for any number."""


class _Shape(Struct, frozen=True):
    """An element's shape in its own axes: what is equal for all elements whose representations say the same."""

    slices: tuple[tuple[float, float, Mesh] | None, ...]
    condition: str = ""
    remarks: tuple[tuple[str, str], ...] = ()
    opening_volumes: tuple[float, ...] = ()
    anchor: tuple[float, float, float] = (0.0, 0.0, 0.0)


class Bodies:
    """The bodies of one open file. Equal shapes are worked out once.

    `kernels` are the geometry kernels that may be asked, in this order.
    """

    def __init__(self, file: Any, kernels: tuple[str, ...] = KERNELS) -> None:
        from takeoff.reading.units import read_units

        self.file = file
        units = read_units(file)  # by the reader's rules, so that nothing is read in two units
        self.items = Items(units.length, units.angle, kernels)
        self.placements = Placements(units.length)
        self._shapes: dict[Any, _Shape] = {}

    def result(self, request: SolidRequest, origin: Floats, transform: Floats | None = None) -> SolidResult:
        """Measure one request: meshes in metres relative to `origin` (3,), after `transform` (4, 4)."""
        began = time.perf_counter()
        products = [self.file.by_id(number) for number in request.body]
        openings = [self.file.by_id(number) for number in request.openings]
        base = products[0].ObjectPlacement if products else None
        shape = self._known(products, openings, request, base)
        matrix = self.placements.absolute(base)
        if transform is not None:
            matrix = transform @ matrix
        turn = matrix[:3, :3]
        shift = matrix[:3, 3] - origin
        if any(shape.anchor):
            shift += turn @ np.array(shape.anchor)
        place = matrix_of(turn, shift)
        size = abs(determinant(turn))
        if not np.abs(shift).max() < _OUT_OF_REACH:
            return SolidResult(request.key, (), "it stands out of reach of its coordinates' digits")
        slices = tuple(
            Slice(part[0] * size, part[1] * size, moved(part[2], place)) if part else None
            for part in shape.slices
        )
        seconds = time.perf_counter() - began
        volumes = tuple(value * size for value in shape.opening_volumes)
        remarks = shape.remarks
        if self.placements.says_nothing(base):
            remarks = (
                *remarks,
                ("placement-missing", "nothing readable says where it stands: taken without a shift"),
            )
        return SolidResult(request.key, slices, shape.condition, remarks, seconds, volumes)

    def _known(
        self, products: list[Entity], openings: list[Entity], request: SolidRequest, base: Entity
    ) -> _Shape:
        """The shape of a request, worked out once for all that are equal."""
        key = shape_key(products, openings, request, base, self.placements)
        if key is None:
            return self._shape(products, openings, request, base)
        shape = self._shapes.get(key) or self._shapes.get((key, request.hint))
        if shape is None:
            shape = self._shape(products, openings, request, base)
            # What is remarked may name an opening or depend on the volume that was declared.
            if not shape.remarks:
                self._shapes[key] = shape
            elif not openings:
                self._shapes[key, request.hint] = shape
        return shape

    def _solids(self, product: Entity, base: Entity) -> tuple[list[Solid], list[NoSolid]]:
        """Solids of a product's body in the axes of `base`, and what could not be made into one."""
        representation = body_representation(product)
        if representation is None:
            return [], [NoSolid("no body geometry")]
        placement = product.ObjectPlacement
        still = placement == base
        relative = np.eye(4) if still else self.placements.relative(base, placement)
        solids: list[Solid] = []
        failures: list[NoSolid] = []
        for item in representation.Items:
            try:
                for leaf, matrix in self.items.leaves(item):
                    try:
                        found = self.items.solids(leaf)
                    except NoSolid as problem:
                        failures.append(problem)
                        continue
                    if matrix is not None:
                        found = [solid_moved(solid, matrix) for solid in found]
                    solids.extend(found if still else [solid_moved(solid, relative) for solid in found])
                    if len(solids) > _MOST_PIECES:
                        raise NoSolid(f"a body of more than {_MOST_PIECES} pieces")
            except NoSolid as problem:
                failures.append(problem)
        if not solids and not failures:
            failures.append(NoSolid("no body geometry"))
        return solids, failures

    def _second_bodies(self, product: Entity) -> list[tuple[str, str]]:
        """A remark where a product has a second body of the same kind with another volume."""
        representation = body_representation(product)
        others = other_bodies(product, representation)
        if not others:
            return []
        volumes = []
        for one in (representation, *others):
            try:
                leaves = [leaf for item in one.Items for leaf in self.items.leaves(item)]
                found = [(solid, matrix) for leaf, matrix in leaves for solid in self.items.solids(leaf)]
                solids = [solid if matrix is None else solid_moved(solid, matrix) for solid, matrix in found]
                volumes.append(volume(union(_near(solids, _anchor(solids)))) if solids else 0.0)
            except (NoSolid, BooleanFailed):
                volumes.append(0.0)
        if max(volumes) - min(volumes) <= _SHARE_LOST * max(volumes):
            return []
        listed = joined(", ", (Quantity(value, "m3", ".4f") for value in volumes))
        said = told("the model gives {} bodies for it ({}): the first was taken", len(volumes), listed)
        return [("bodies-differ", said)]

    def _shape(
        self, products: list[Entity], openings: list[Entity], request: SolidRequest, base: Entity
    ) -> _Shape:
        solids: list[Solid] = []
        failures: list[NoSolid] = []
        for product in products:
            found, failed = self._solids(product, base)
            solids += found
            failures += failed
        if not solids:
            return _Shape((), str(failures[0]) if failures else "no body geometry")
        remarks = [remark for solid in solids for remark in solid.remarks]
        if failures:
            text = f"{len(failures)} of {len(solids) + len(failures)} pieces of the body: {failures[0]}"
            low, high = _box([solid.mesh for solid in solids])
            if sum(failure.size for failure in failures) > _SHARE_LOST * float((high - low).prod()):
                return _Shape((), text)
            remarks.append(("piece-left-out", f"{text}; left out, they are small"))
        solids, chosen = _chosen(solids, request.hint)
        remarks += chosen
        remarks += [remark for product in products for remark in self._second_bodies(product)]
        low, high = _box([solid.mesh for solid in solids])
        if not float((high - low).max()) < _ENDLESS:
            return _Shape(
                (), f"a body of more than {_ENDLESS / 1000.0:.0f} km: a number in the file is wrong"
            )
        anchor = _anchor(solids)
        solids = _near(solids, anchor)
        try:
            gross = union(solids)
            if volume(gross) < _NOTHING:
                return _Shape((), NO_VOLUME)
            if not openings and request.slicing is None:
                value = volume(gross)
                return _Shape(((value, value, gross),), "", _once(remarks), (), tuple(anchor.tolist()))
            whole = bare(gross) if is_one_shell(solids) else manifold(gross)
        except BooleanFailed as problem:
            return _Shape((), f"the body's pieces cannot be joined: {problem}")
        voids, notes = self._voids(openings, base, anchor)
        remarks += notes
        try:
            cut = cut_voids(whole, gross, voids)
        except BooleanFailed:
            other = self._by_kernel(products, request.hint, remarks)
            if other is None:
                return _Shape((), "the openings cannot be cut")
            cut = Cut(manifold(other.moved(-anchor)), {}, [])
        try:
            slices, notes = _slices(gross, whole, cut, request, anchor)
        except BooleanFailed as problem:
            return _Shape((), f"the layers cannot be cut: {problem}")
        return _Shape(slices, "", _once([*remarks, *notes]), tuple(cut.volumes), tuple(anchor.tolist()))

    def _voids(
        self, openings: Sequence[Entity], base: Entity, anchor: Floats
    ) -> tuple[list[list[Solid]], list[tuple[str, str]]]:
        """The solids of every opening, beside the anchor, and what could not be read."""
        voids = []
        remarks: list[tuple[str, str]] = []
        for opening in openings:
            solids, failures = self._solids(opening, base)
            if failures:
                text = f"opening {opening.GlobalId}: {failures[0]}; not deducted"
                remarks.append(("opening-not-read", text))
            for solid in solids:
                remarks += [(kind, f"opening {opening.GlobalId}: {text}") for kind, text in solid.remarks]
            voids.append(_near(solids, anchor))
        return voids, remarks

    def _by_kernel(
        self, products: list[Entity], hint: float | None, remarks: list[tuple[str, str]]
    ) -> Mesh | None:
        """The net body with the openings cut by a geometry kernel, the second way."""
        if len(products) != 1:
            return None
        found: list[tuple[str, Mesh]] = []
        for kernel in self.items.kernels:
            try:
                mended = mend(
                    tessellate(
                        products[0],
                        kernel,
                        body_representation(products[0]),
                        cut=True,
                        scale=self.items.scale,
                    )
                )
            except RuntimeError:
                continue
            if not mended.condition:
                found.append((kernel, mended.mesh))
        if not found:
            return None
        best = min(found, key=lambda pair: abs(volume(pair[1]) - hint) if hint else 0.0)
        values = _volumes(found)
        remarks.append(
            (
                "openings-by-kernel",
                told("openings were cut by the geometry kernel ({}): {} used", values, best[0]),
            )
        )
        return best[1]


def _volumes(ways: list[tuple[str, Mesh]]) -> str:
    """Each way of measuring a body with its volume."""
    return joined(", ", (told("{} {}", name, Quantity(volume(mesh), "m3", ".4f")) for name, mesh in ways))


def _chosen(solids: list[Solid], hint: float | None) -> tuple[list[Solid], list[tuple[str, str]]]:
    """Settle disagreements between ways: the declared volume decides where it is near one of them."""
    if not any(solid.rivals for solid in solids):
        return solids, []
    remarks = []
    out = []
    for solid in solids:
        ways = [(solid.way, solid.mesh), *solid.rivals]
        best = ways[0]
        if hint and len(solids) == 1 and len(ways) > 1:
            nearest = min(ways, key=lambda way: abs(volume(way[1]) - hint))
            if abs(volume(nearest[1]) - hint) <= 0.005 * hint:
                best = nearest
        if len(ways) > 1:
            said = told("ways of measuring the body disagree ({}): {} used", _volumes(ways), best[0])
            remarks.append(("volumes-disagree", said))
        out.append(Solid(best[1], solid.remarks, best[0]))
    return out, remarks


def _once(remarks: list[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple(dict.fromkeys(remarks))


def _box(meshes: list[Mesh]) -> Floats:
    """Box (2, 3) around all of some meshes."""
    boxes = np.array([mesh.box() for mesh in meshes])
    return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def _anchor(solids: list[Solid]) -> Floats:
    """A shift (3,) of whole metres that brings solids with far-away coordinates near; zero for others."""
    low = _box([solid.mesh for solid in solids])[0]
    if np.abs(low).max() < _FAR:
        return np.zeros(3)
    anchor: Floats = np.floor(low)
    return anchor


def _near(solids: list[Solid], anchor: Floats) -> list[Solid]:
    if not anchor.any():
        return solids
    return [replace(solid, mesh=solid.mesh.moved(-anchor)) for solid in solids]


def _slices(
    gross: Mesh, whole: Manifold, cut: Cut, request: SolidRequest, anchor: Floats
) -> tuple[tuple[tuple[float, float, Mesh] | None, ...], list[tuple[str, str]]]:
    if request.slicing is None:
        mesh = without_crumbs(mesh_of(cut.net, cut.labels))
        rest = volume(mesh)
        if rest < _NOTHING:
            return (None,), [("nothing-left", "the openings remove the whole body")]
        return ((whole.volume(), rest, mesh),), []
    slicing = request.slicing
    if slicing.offset is not None and slicing.axis is not None:
        slicing = replace(slicing, offset=slicing.offset - float(anchor[slicing.axis]))
    lie = across(gross, slicing, -anchor)
    spans, notes = cuts(lie, slicing)
    grosses = sliced(whole, lie.ruler, spans)
    nets = grosses if cut.net is whole else sliced(cut.net, lie.ruler, spans)
    out: list[tuple[float, float, Mesh] | None] = []
    for before, after in zip(grosses, nets, strict=True):
        if before is None or after is None:
            out.append(None)
            continue
        mesh = without_crumbs(mesh_of(after, cut.labels))
        out.append((before.volume(), volume(mesh), mesh))
    return tuple(out), [*lie.remarks, *notes]


def find_origin(
    file: Any, products: Sequence[int], transform: Floats | None = None, drawn: bool = True
) -> Floats:
    """An origin (3,) in whole metres near the bodies of some products (STEP ids) of an open file.

    The median of the first corners of up to nine bodies spread over the list, so that neither a far site
    offset nor a stray element decides; not `drawn`, where the bodies cannot be drawn: of their places. Zero where
    nothing is near a kilometre away or nothing can be read.
    """
    bodies = Bodies(file)
    corners = []
    step = max(1, len(products) // 9)
    for number in products[::step]:
        product = file.by_id(number)
        try:
            matrix = bodies.placements.absolute(product.ObjectPlacement)
            if not drawn:
                corners.append(matrix[:3, 3])
                continue
            solids, _ = bodies._solids(product, product.ObjectPlacement)
        except Exception:  # whatever is wrong with it is told when it is measured
            continue
        if solids:
            corners.append(applied(matrix, solids[0].mesh.vertices[:1])[0])
    if not corners:
        return np.zeros(3)
    points = np.array(corners)
    sane = (np.abs(points) < _OUT_OF_REACH).all(axis=1)
    if sane.any():
        points = points[
            sane
        ]  # one body with a wrong number in it must not draw the origin away from all others
    if transform is not None:
        points = applied(transform, points)
    middle = np.round(np.median(points, axis=0))
    return np.where(np.abs(middle) < _FAR, 0.0, middle)
