"""Hostile files: a sound model of a column and a wall, with one thing written wrongly, line by line.

The column takes the damage; the wall beside it is sound and must never be lost.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from build import Model

COLUMN, WALL = 0.4 * 0.4 * 3.0, 3.0 * 0.2 * 3.0

Deed = Callable[["Lines"], None]


class Lines:
    """The lines of a file by number, to be written anew; what belongs to the column by name."""

    def __init__(self, text: str) -> None:
        self.head, rest = text.split("DATA;\n", 1)
        body, self.tail = rest.split("ENDSEC;", 1)
        self.of = {
            int(number): words for number, words in re.findall(r"^#(\d+)=(.*);$", body, flags=re.MULTILINE)
        }
        self.column = self.find("IFCCOLUMN(")
        self.place, self.shape = (int(n) for n in re.findall(r"#(\d+)", self.of[self.column])[1:3])
        self.axes = int(re.findall(r"#(\d+)", self.of[self.place])[1])
        self.location = int(re.findall(r"#(\d+)", self.of[self.axes])[0])
        self.representation = int(re.findall(r"#(\d+)", self.of[self.shape])[0])
        self.context, self.solid = (int(n) for n in re.findall(r"#(\d+)", self.of[self.representation])[:2])
        self.profile = int(re.findall(r"#(\d+)", self.of[self.solid])[0])
        self.wall = self.find("IFCWALL")

    def find(self, start: str) -> int:
        return next(number for number, words in self.of.items() if words.startswith(start))

    def add(self, words: str) -> int:
        number = max(self.of) + 1
        self.of[number] = words
        return number

    def swap(self, number: int, old: str, new: str) -> None:
        assert old in self.of[number], (old, self.of[number])
        self.of[number] = self.of[number].replace(old, new, 1)

    def text(self) -> str:
        body = "".join(f"#{number}={words};\n" for number, words in self.of.items())
        return f"{self.head}DATA;\n{body}ENDSEC;{self.tail}"


@dataclass(frozen=True, slots=True)
class Damage:
    """What is written wrongly. `column`, `wall`: their volumes, m3; None: nobody can say.

    `sound`: the file says plainly what is meant. Where it is not, something must be told of the column or the model.
    """

    name: str
    do: Deed
    column: float | None = COLUMN
    wall: float | None = WALL
    sound: bool = False


def base(path: Path, schema: str) -> Lines:
    model = Model(schema, unit="m")
    model.column((0, 0), 0.4, 0.4, 3.0, name="C0")
    model.wall((3, 0), (6, 0), thickness=0.2, height=3.0, name="W")
    model.save(path)
    return Lines(path.read_text())


def _swap(what: str, old: str, new: str) -> Deed:
    return lambda lines: lines.swap(getattr(lines, what), old, new)


def _put(what: str, words: str) -> Deed:
    return lambda lines: lines.of.__setitem__(getattr(lines, what), words)


def _drop(what: str) -> Deed:
    return lambda lines: lines.of.__delitem__(getattr(lines, what))


def _unit(*words: str) -> Deed:
    """The unit of length written as the last of these lines; `{n}` is the number of the line before."""

    def do(lines: Lines) -> None:
        unit = lines.find("IFCSIUNIT(*,.LENGTHUNIT.")
        for line in words[:-1]:
            lines.add(line.format(n=max(lines.of)))
        lines.of[unit] = words[-1].format(n=max(lines.of))

    return do


def _no_units(lines: Lines) -> None:
    lines.of[lines.find("IFCUNITASSIGNMENT")] = "IFCUNITASSIGNMENT(())"


def _no_assignment(lines: Lines) -> None:
    project = lines.find("IFCPROJECT")
    lines.of[project] = re.sub(r",#\d+\)$", ",$)", lines.of[project])


def _cycle(lines: Lines) -> None:
    lines.of[lines.place] = f"IFCLOCALPLACEMENT(#{lines.place},#{lines.axes})"


def _long_cycle(lines: Lines) -> None:
    other = lines.add(f"IFCLOCALPLACEMENT(#{lines.place},#{lines.axes})")
    lines.of[lines.place] = f"IFCLOCALPLACEMENT(#{other},#{lines.axes})"


def _axes(z: str, x: str) -> Deed:
    def do(lines: Lines) -> None:
        first, second = lines.add(f"IFCDIRECTION({z})"), lines.add(f"IFCDIRECTION({x})")
        lines.of[lines.axes] = f"IFCAXIS2PLACEMENT3D(#{lines.location},#{first},#{second})"

    return do


def _items(*makers: Callable[[Lines], int]) -> Deed:
    """Other items in the column's representation."""

    def do(lines: Lines) -> None:
        items = ",".join(f"#{maker(lines)}" for maker in makers)
        lines.of[lines.representation] = re.sub(r"\(#\d+\)\)$", f"({items}))", lines.of[lines.representation])

    return do


def _map_of_itself(lines: Lines) -> int:
    origin = lines.add(f"IFCREPRESENTATIONMAP(#{lines.axes},#{lines.representation})")
    target = lines.add(f"IFCCARTESIANTRANSFORMATIONOPERATOR3D($,$,#{lines.location},$,$)")
    return lines.add(f"IFCMAPPEDITEM(#{origin},#{target})")


def _boolean_of_itself(lines: Lines) -> int:
    number = max(lines.of) + 1
    return lines.add(f"IFCBOOLEANRESULT(.DIFFERENCE.,#{number},#{lines.solid})")


def _union_of_itself(lines: Lines) -> int:
    number = max(lines.of) + 1
    return lines.add(f"IFCBOOLEANRESULT(.UNION.,#{lines.solid},#{number})")


def _profile_of_itself(lines: Lines) -> None:
    number = max(lines.of) + 1
    lines.add(f"IFCCOMPOSITEPROFILEDEF(.AREA.,$,(#{number},#{lines.profile}),$)")
    lines.swap(lines.solid, f"#{lines.profile}", f"#{number}")


def _whole_of_itself(lines: Lines) -> None:
    owner = lines.find("IFCOWNERHISTORY")
    lines.add(f"IFCRELAGGREGATES('0000000000000000000001',#{owner},$,$,#{lines.column},(#{lines.column}))")


def _void_of_itself(lines: Lines) -> None:
    owner = lines.find("IFCOWNERHISTORY")
    lines.add(f"IFCRELVOIDSELEMENT('0000000000000000000002',#{owner},$,$,#{lines.column},#{lines.column})")


def _same_id(lines: Lines) -> None:
    ids = [re.findall(r"'([^']*)'", lines.of[number])[0] for number in (lines.column, lines.wall)]
    lines.swap(lines.column, ids[0], ids[1])


def _id(new: str) -> Deed:
    def do(lines: Lines) -> None:
        lines.of[lines.column] = re.sub(r"\('[^']*'", f"({new}", lines.of[lines.column], count=1)

    return do


def _no_owner(lines: Lines) -> None:
    for number in (lines.column, lines.wall):
        lines.of[number] = re.sub(r"',#\d+,", "',$,", lines.of[number], count=1)


def _twice(lines: Lines) -> None:
    again = lines.add(lines.of[lines.representation])
    lines.of[lines.shape] = f"IFCPRODUCTDEFINITIONSHAPE($,$,(#{lines.representation},#{again}))"


def _two_sizes(lines: Lines) -> None:
    profile = lines.add(lines.of[lines.profile].replace("0.4,0.4", "0.5,0.5"))
    solid = lines.add(lines.of[lines.solid].replace(f"#{lines.profile},", f"#{profile},"))
    again = lines.add(lines.of[lines.representation].replace(f"(#{lines.solid})", f"(#{solid})"))
    lines.of[lines.shape] = f"IFCPRODUCTDEFINITIONSHAPE($,$,(#{lines.representation},#{again}))"


def _styles(lines: Lines) -> None:
    number = max(lines.of) + 1
    lines.add(f"IFCSTYLEDITEM(#{number},(#{number}),$)")
    lines.add(f"IFCSTYLEDITEM(#{lines.solid},(#{number}),$)")


FOOT = 0.3048
SURVEY = 1200.0 / 3937.0
_DIMENSIONS = "IFCDIMENSIONALEXPONENTS(1,0,0,0,0,0,0)"


def _converted(name: str, factor: str, twice: str = "") -> Deed:
    def do(lines: Lines) -> None:
        unit = lines.find("IFCSIUNIT(*,.LENGTHUNIT.")
        metre = lines.add(lines.of[unit])
        power = lines.add(_DIMENSIONS)
        if twice:
            inner = lines.add(f"IFCMEASUREWITHUNIT(IFCRATIOMEASURE({twice}),#{metre})")
            metre = lines.add(f"IFCCONVERSIONBASEDUNIT(#{power},.LENGTHUNIT.,'INNER',#{inner})")
        measure = lines.add(f"IFCMEASUREWITHUNIT(IFCRATIOMEASURE({factor}),#{metre})")
        lines.of[unit] = f"IFCCONVERSIONBASEDUNIT(#{power},.LENGTHUNIT.,'{name}',#{measure})"

    return do


def _conversion_of_itself(lines: Lines) -> None:
    unit = lines.find("IFCSIUNIT(*,.LENGTHUNIT.")
    power = lines.add(_DIMENSIONS)
    measure = lines.add(f"IFCMEASUREWITHUNIT(IFCRATIOMEASURE(2.),#{unit})")
    lines.of[unit] = f"IFCCONVERSIONBASEDUNIT(#{power},.LENGTHUNIT.,'ROD',#{measure})"


def _in(metres: float) -> dict[str, float]:
    return {"column": COLUMN * metres**3, "wall": WALL * metres**3}


UNITS = [
    Damage("unit-foot", _converted("FOOT", "0.3048"), **_in(FOOT), sound=True),
    Damage("unit-inch", _converted("INCH", "0.0254"), **_in(0.0254), sound=True),
    Damage("unit-survey-foot", _converted("US SURVEY FOOT", repr(SURVEY)), **_in(SURVEY), sound=True),
    Damage("unit-yard-of-feet", _converted("YARD", "3.", twice="0.3048"), **_in(3 * FOOT), sound=True),
    Damage("unit-centimetre", _unit("IFCSIUNIT(*,.LENGTHUNIT.,.CENTI.,.METRE.)"), **_in(0.01), sound=True),
    Damage("unit-kilometre", _unit("IFCSIUNIT(*,.LENGTHUNIT.,.KILO.,.METRE.)"), None, None),
    Damage("unit-of-area", _unit("IFCSIUNIT(*,.LENGTHUNIT.,$,.SQUARE_METRE.)"), None, None),
    Damage("unit-of-mass", _unit("IFCSIUNIT(*,.MASSUNIT.,$,.GRAM.)"), None, None),
    Damage("unit-nothing", _unit("IFCSIUNIT(*,.LENGTHUNIT.,$,$)"), None, None),
    Damage("unit-zero", _converted("NOTHING", "0."), None, None),
    Damage("unit-minus", _converted("ANTIMETRE", "-1."), None, None),
    Damage("unit-endless", _converted("ENDLESS", "1.E308"), None, None),
    Damage("unit-of-itself", _conversion_of_itself, None, None),
    Damage("unit-none", _no_units, None, None),
    Damage("unit-no-assignment", _no_assignment, None, None),
]

PLACES = [
    Damage("place-of-itself", _cycle, None),
    Damage("place-of-each-other", _long_cycle, None),
    Damage("place-gone", _drop("place"), None),
    Damage("place-axes-gone", _drop("axes"), None),
    Damage("place-point-gone", _drop("location"), None),
    Damage("place-no-numbers", _put("location", "IFCCARTESIANPOINT((NAN,0.,0.))"), None),
    Damage("place-far", _put("location", "IFCCARTESIANPOINT((1.E300,0.,0.))"), None),
    Damage("place-endless", _put("location", "IFCCARTESIANPOINT((1.E308,1.E308,1.E308))"), None),
    Damage("place-denormal", _put("location", "IFCCARTESIANPOINT((1.E-310,0.,0.))"), sound=True),
    Damage("place-flat", _put("location", "IFCCARTESIANPOINT((0.,0.))"), sound=True),
    Damage("place-empty", _put("location", "IFCCARTESIANPOINT(())"), None),
    Damage("place-four", _put("location", "IFCCARTESIANPOINT((0.,0.,0.,7.))"), None),
    Damage("place-skew", _axes("(0.,0.,1.)", "(1.,0.,1.)"), sound=True),
    Damage("place-parallel", _axes("(0.,0.,1.)", "(0.,0.,1.)")),
    Damage("place-zero", _axes("(0.,0.,0.)", "(1.,0.,0.)")),
    Damage("place-nan", _axes("(0.,0.,NAN)", "(1.,0.,0.)"), None),
    Damage("place-down", _axes("(0.,0.,-1.)", "(1.,0.,0.)"), sound=True),
    Damage("place-long-axes", _axes("(0.,0.,1.E200)", "(1.E200,0.,0.)")),
]

BODIES = [
    Damage("depth-nan", _swap("solid", ",3.)", ",NAN)"), None),
    Damage("depth-endless", _swap("solid", ",3.)", ",1.E308)"), None),
    Damage("depth-huge", _swap("solid", ",3.)", ",1.E30)"), None),
    Damage("depth-denormal", _swap("solid", ",3.)", ",1.E-310)"), None),
    Damage("depth-text", _swap("solid", ",3.)", ",'three')"), None),
    Damage("depth-none", _swap("solid", ",3.)", ",$)"), None),
    Damage("depth-whole-number", _swap("solid", ",3.)", ",3)")),
    Damage("profile-gone", _drop("profile"), None),
    Damage("profile-endless", _swap("profile", "0.4,0.4", "1.E308,0.4"), None),
    Damage("profile-of-itself", _profile_of_itself, None),
    Damage("solid-gone", _drop("solid"), None),
    Damage("shape-gone", _drop("shape"), None),
    Damage("representation-gone", _drop("representation"), None),
    Damage("context-gone", _drop("context"), COLUMN, WALL),
    Damage("map-of-itself", _items(_map_of_itself), None),
    Damage("map-of-itself-beside", _items(lambda lines: lines.solid, _map_of_itself), COLUMN),
    Damage("boolean-of-itself", _items(_boolean_of_itself), None),
    Damage("union-of-itself", _items(_union_of_itself), None),
    Damage("body-twice", _twice),
    Damage("bodies-of-two-sizes", _two_sizes, None),
    Damage("styles-of-themselves", _styles),
]

RELATIONS = [
    Damage("whole-of-itself", _whole_of_itself),
    Damage("void-of-itself", _void_of_itself, None),
    Damage("same-id", _same_id),
    Damage("id-empty", _id("''")),
    Damage("id-none", _id("$")),
    Damage("id-short", _id("'x'")),
    Damage("no-owner", _no_owner, sound=True),
]

DAMAGES = [*UNITS, *PLACES, *BODIES, *RELATIONS]
