"""Which element of a new model is which of the old: by GlobalId, else by shape and place, else by mark.

An exporter may renew every GlobalId, move the model to another origin, or file elements in another file. What
somebody decided, measured or priced must find its element all the same, and never another one: a pair is made
only where one old and one new element choose each other before all others.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats
from takeoff.geometry.neighbours import near_pairs
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place, Triple

Ground = Literal["global-id", "shape-and-place", "place", "shape-and-mark", "shape-nearby", "name"]

SAME_SIZE = 0.005
"""Metres by which sizes and box corners of one and the same shape may differ (exporters round to mm)."""
SAME_VOLUME = 1e-3
"""Share by which the volumes of one and the same shape may differ (rounding, tessellation of curves)."""
MOSTLY = 0.5
"""Share of their common box that two boxes must have in common to be one element that was changed."""
SAME_TRAITS = 0.01
"""How far the traits of a place (shares of its box) may differ in one and the same shape."""
UNMOVED: Triple = (0.0, 0.0, 0.0)
LEAST_VOTES = 3
"""Elements that must agree before the whole model is taken to have been moved."""


class Pair(Struct, frozen=True):
    """An old and a new element (model and GlobalId each) that are one, and the ground for it.

    `global-id`: the same GlobalId. `shape-and-place`: role, volume, sizes and box agree. `place`: the role and
    most of the box agree, the shape was changed. `shape-and-mark`: role, shape and a mark (or name) that no
    other has; moved. `shape-nearby`: role and shape agree, moved by less than its own size. `name`: class,
    storey and a name that no other has, where one of the two has no measured shape. All but the first are
    conclusions that a person should be told of.
    """

    old: ElementKey
    new: ElementKey
    ground: Ground


class Matching(Struct, frozen=True):
    """Pairs in the order of the old elements, those that are gone, those that came.

    `shift` metres is by how much the whole model was found to have been moved, zeros where it was not.
    """

    pairs: tuple[Pair, ...] = ()
    removed: tuple[ElementKey, ...] = ()
    added: tuple[ElementKey, ...] = ()
    shift: Triple = (0.0, 0.0, 0.0)

    @property
    def new_of(self) -> dict[ElementKey, ElementKey]:
        """The new element of each old one that has one."""
        return {pair.old: pair.new for pair in self.pairs}

    @property
    def old_of(self) -> dict[ElementKey, ElementKey]:
        """The old element of each new one that has one."""
        return {pair.new: pair.old for pair in self.pairs}

    @property
    def renewed(self) -> tuple[Pair, ...]:
        """The pairs that were found by something else than the GlobalId."""
        return tuple(pair for pair in self.pairs if pair.ground != "global-id")


class _Element(Struct, frozen=True):
    """What identity goes by: of all parts of an element together."""

    key: ElementKey
    role: str
    ifc_class: str
    storey: str
    mark: str
    volumes: tuple[float, float]
    sizes: tuple[float, ...]
    place: Place | None

    @property
    def measured(self) -> bool:
        """Whether a volume was measured."""
        return self.volumes[1] > 0


def match_elements(
    old: Sequence[MeasuredPart],
    new: Sequence[MeasuredPart],
    old_places: Mapping[ElementKey, Place],
    new_places: Mapping[ElementKey, Place],
) -> Matching:
    """Match the elements of two measurements.

    Places may be missing for some or all elements (a table read back has none): these are matched by GlobalId
    or by shape and mark. Parts of one element (model and GlobalId) stay together.
    """
    olds, news = _elements(old, old_places), _elements(new, new_places)
    book = _Book(olds, news)
    book.by_key(lambda element: element.key, "global-id")
    book.by_key(lambda element: element.key[1], "global-id")
    book.by_name(_filed_name, "name", _swallowed)
    shift = _common_shift(book)
    book.by_place(shift)
    if shift != UNMOVED:
        book.by_place(UNMOVED)
    book.by_name(_role_and_mark, "shape-and-mark", _same_shape)
    book.nearby(shift)
    book.by_name(_filed_name, "name", lambda one, other: not (one.measured and other.measured))
    return Matching(
        tuple(Pair(element.key, *book.found[element.key]) for element in olds if element.key in book.found),
        tuple(element.key for element in book.old_left()),
        tuple(element.key for element in book.new_left()),
        shift,
    )


class _Meeting(Struct, frozen=True):
    """An old and a new element that may be one: how their boxes and traits agree.

    `share` of their boxes in common (0 to 1), `corners` the largest difference of a corner's coordinate,
    `distance` between the middles (metres), `unlikeness` the largest difference of their traits.
    """

    old: _Element
    new: _Element
    share: float
    corners: float
    distance: float
    unlikeness: float


_KeyOf = Callable[[_Element], Hashable | None]
_Agree = Callable[[_Element, _Element], bool]


class _Book:
    """The pairs found so far and who is left."""

    def __init__(self, olds: Sequence[_Element], news: Sequence[_Element]) -> None:
        self.olds, self.news = olds, news
        self.found: dict[ElementKey, tuple[ElementKey, Ground]] = {}
        self.taken: set[ElementKey] = set()

    def old_left(self) -> list[_Element]:
        return [element for element in self.olds if element.key not in self.found]

    def new_left(self) -> list[_Element]:
        return [element for element in self.news if element.key not in self.taken]

    def pair(self, old: _Element, new: _Element, ground: Ground) -> None:
        if old.key not in self.found and new.key not in self.taken:
            self.found[old.key] = new.key, ground
            self.taken.add(new.key)

    def by_key(self, key_of: _KeyOf, ground: Ground) -> None:
        """Pair those left whose key no other left one has on either side."""
        self._pair_equal(_single(self.old_left(), key_of), _single(self.new_left(), key_of), ground)

    def by_name(self, key_of: _KeyOf, ground: Ground, agree: _Agree) -> None:
        """Pair those that agree and whose key no other element has in the whole of either side.

        A name that many bear says nothing, even where only one of them is left.
        """
        self._pair_equal(_single(self.olds, key_of), _single(self.news, key_of), ground, agree)

    def _pair_equal(
        self,
        olds: Mapping[Hashable, _Element],
        news: Mapping[Hashable, _Element],
        ground: Ground,
        agree: _Agree | None = None,
    ) -> None:
        for key, element in olds.items():
            other = news.get(key)
            if other is not None and (agree is None or agree(element, other)):
                self.pair(element, other, ground)

    def by_place(self, shift: Triple) -> None:
        """Pair what fills the same box, the same shapes first, then those that share most of their box."""
        meetings = _meetings(self.old_left(), self.new_left(), shift, 0.0)
        same, changed = [], []
        for meeting in meetings:
            one, other = meeting.old, meeting.new
            if meeting.corners <= SAME_SIZE and meeting.unlikeness <= SAME_TRAITS and _same_shape(one, other):
                same.append((meeting.unlikeness, one, other))
            elif meeting.share >= MOSTLY:
                changed.append((meeting.unlikeness - meeting.share, one, other))
        self._best_first(same, "shape-and-place")
        self._best_first(changed, "place")

    def nearby(self, shift: Triple) -> None:
        """Pair equal shapes that were moved by less than their own size."""
        meetings = _meetings(self.old_left(), self.new_left(), shift, 1.0)
        moved = [
            (meeting.distance, meeting.old, meeting.new)
            for meeting in meetings
            if meeting.distance <= max(meeting.old.sizes) and _same_shape(meeting.old, meeting.new)
        ]
        self._best_first(moved, "shape-nearby")

    def _best_first(self, candidates: list[tuple[float, _Element, _Element]], ground: Ground) -> None:
        for _, one, other in sorted(candidates, key=lambda entry: (entry[0], entry[1].key, entry[2].key)):
            self.pair(one, other, ground)


def _elements(parts: Sequence[MeasuredPart], places: Mapping[ElementKey, Place]) -> list[_Element]:
    """The elements of a table of parts, in its order."""
    grouped: dict[ElementKey, list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        grouped[part.model, part.global_id].append(part)
    return [_element(key, own, places.get(key)) for key, own in grouped.items()]


def _element(key: ElementKey, parts: Sequence[MeasuredPart], place: Place | None) -> _Element:
    main = max(parts, key=lambda part: part.net_volume_m3 or 0.0)
    sizes = sorted(size or 0.0 for size in (main.length_m, main.width_m, main.height_m))
    return _Element(
        key,
        main.role,
        main.ifc_class,
        parts[0].storey,
        main.mark.strip() or main.name.strip(),
        (sum(p.gross_volume_m3 or 0.0 for p in parts), sum(p.net_volume_m3 or 0.0 for p in parts)),
        tuple(sizes),
        place,
    )


def _role_and_mark(element: _Element) -> Hashable | None:
    return (element.role, element.mark) if element.mark and element.measured else None


def _filed_name(element: _Element) -> Hashable | None:
    return (element.ifc_class, element.storey, element.mark) if element.mark else None


def _swallowed(one: _Element, other: _Element) -> bool:
    """Whether one of the two has left its body to another that is the same thing: which of them does so hangs
    on the GlobalIds, so two of a kind must not be taken for one another where their names tell them apart."""
    return (
        (one.place is None) != (other.place is None)
        and one.role == other.role
        and abs(one.volumes[0] - other.volumes[0]) <= SAME_VOLUME * max(one.volumes[0], other.volumes[0])
        and one.volumes[0] > 0
    )


def _shape(element: _Element) -> Hashable | None:
    """Role, sizes to 10 mm and gross volume to three figures: who is alone with it can be told anywhere."""
    if not element.measured or element.place is None:
        return None
    return element.role, tuple(round(size, 2) for size in element.sizes), f"{element.volumes[0]:.2e}"


def _same_shape(one: _Element, other: _Element) -> bool:
    """Whether role, sizes and the volume before or after openings agree."""
    return (
        one.role == other.role
        and one.measured
        and other.measured
        and all(abs(a - b) <= SAME_SIZE for a, b in zip(one.sizes, other.sizes, strict=True))
        and any(
            abs(a - b) <= SAME_VOLUME * max(a, b) for a, b in zip(one.volumes, other.volumes, strict=True)
        )
    )


def _displacement(one: _Element, other: _Element) -> Floats:
    """From the middle of the old box to that of the new, (3,)."""
    assert one.place is not None
    assert other.place is not None
    return np.array(other.place.centre) - np.array(one.place.centre)


def _single(elements: Iterable[_Element], key_of: _KeyOf) -> dict[Hashable, _Element]:
    """The elements that are alone with their key."""
    found: dict[Hashable, _Element | None] = {}
    for element in elements:
        key = key_of(element)
        if key is not None:
            found[key] = None if key in found else element
    return {key: element for key, element in found.items() if element is not None}


def _meetings(
    olds: Iterable[_Element], news: Iterable[_Element], shift: Triple, reach: float
) -> list[_Meeting]:
    """Old and new elements of one role whose boxes, grown by `reach` times half their own size, meet."""
    old = [(element, element.place) for element in olds if element.place is not None]
    new = [(element, element.place) for element in news if element.place is not None]
    if not old or not new:
        return []
    boxes = np.array([(place.low, place.high) for _, place in (*old, *new)])
    boxes[: len(old)] += shift
    traits = np.array([(*place.offset, *place.lean) for _, place in (*old, *new)])
    roles = np.array([element.role for element, _ in (*old, *new)])
    sides = boxes[:, 1] - boxes[:, 0]
    grown = boxes + sides.max(axis=1)[:, None, None] * (reach / 2.0) * np.array([-1.0, 1.0])[:, None]
    pairs = near_pairs(grown, SAME_SIZE)
    i, j = pairs[(pairs[:, 0] < len(old)) & (pairs[:, 1] >= len(old))].T
    i, j = i[roles[i] == roles[j]], j[roles[i] == roles[j]]
    common = np.minimum(boxes[i, 1], boxes[j, 1]) - np.maximum(boxes[i, 0], boxes[j, 0])
    both = np.maximum(common, 0.0).prod(axis=1)
    share = both / np.maximum(sides[i].prod(axis=1) + sides[j].prod(axis=1) - both, 1e-12)
    corners = np.abs(boxes[j] - boxes[i]).max(axis=(1, 2))
    distance = np.linalg.norm(boxes[j].mean(axis=1) - boxes[i].mean(axis=1), axis=1)
    unlikeness = np.abs(traits[j] - traits[i]).max(axis=1)
    columns = (array.tolist() for array in (i, j - len(old), share, corners, distance, unlikeness))
    return [_Meeting(old[a][0], new[b][0], *figures) for a, b, *figures in zip(*columns, strict=True)]


def _common_shift(book: _Book) -> Triple:
    """By how much most of the elements were moved together: the model has got another origin, metres.

    Asked are the elements known by their GlobalId and those whose shape no other has.
    """
    by_key = {element.key: element for element in book.news}
    known = [
        (element, by_key[book.found[element.key][0]]) for element in book.olds if element.key in book.found
    ]
    olds, news = _single(book.old_left(), _shape), _single(book.new_left(), _shape)
    known += [(element, news[key]) for key, element in olds.items() if key in news]
    moves = [_displacement(one, other) for one, other in known if one.place and other.place]
    if len(moves) < LEAST_VOTES:
        return UNMOVED
    middle = np.median(np.array(moves), axis=0)
    agreed = np.abs(np.array(moves) - middle).max(axis=1) <= 2.0 * SAME_SIZE
    if np.abs(middle).max() <= 2.0 * SAME_SIZE or agreed.sum() < LEAST_VOTES or agreed.mean() <= 0.5:
        return UNMOVED
    x, y, z = middle.tolist()
    return x, y, z
