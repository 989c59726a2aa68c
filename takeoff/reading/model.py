"""The reader: one IFC file to facts."""

import re
from collections import Counter
from pathlib import Path
from typing import Any

from takeoff.collector import collector_off
from takeoff.findings import Finding, InputError
from takeoff.reading.attributes import attribute, clean, first_line, identity, name_of
from takeoff.reading.bars import BAR_CLASSES, read_bars
from takeoff.reading.elements import ElementReader
from takeoff.reading.facts import BuildingFacts, ElementFacts, ModelFacts
from takeoff.reading.hosts import Hosts, read_embedded
from takeoff.reading.materials import Materials
from takeoff.reading.places import Placements, building_place, read_map, read_storeys
from takeoff.reading.properties import Properties
from takeoff.reading.relations import read_relations
from takeoff.reading.roles import kind_of
from takeoff.reading.shapes import presentation_layers
from takeoff.reading.sites import read_buildings, read_terrains
from takeoff.reading.sources import Source, open_source
from takeoff.reading.structure import Context, Structure, read_structure, unreadable
from takeoff.reading.units import Units, read_units
from takeoff.reading.words import substance
from takeoff.told import counted

NAMES_SHOWN = 5
"""Most names that one finding lists."""

_GLOBAL_ID = re.compile(r"[0-9A-Za-z_$]{22}")
"""The length and the alphabet of IfcGloballyUniqueId. That 128 bits leave the first character two bits only is not
asked for: programs write others, and they tell elements apart as well."""

_NEVER_CONCRETE = (
    *BAR_CLASSES, "IfcFeatureElement", "IfcDoor", "IfcWindow", "IfcFurnishingElement", "IfcDistributionElement",
    "IfcTransportElement", "IfcVirtualElement",
)  # fmt: skip
"""Classes of which no piece is concrete work, whatever its material."""

_FAULT = re.compile(
    r"^\[(?:error|warning)\](?: \[[^\]]*\])*+ (?!Instance encountered with non-unique GlobalId)(.*)"
)
"""A line of the parser's log. Elements that share a GlobalId have a finding of their own."""


def read_model(path: Path, scratch: Path, model_name: str | None = None) -> ModelFacts:
    """All facts of the model at `path`; its name is `model_name`, else the file's name without its ending.

    What has to be unpacked goes into `scratch`, which must outlive the use of `ModelFacts.path`. Raises
    InputError, one line, for a file that is no readable model. An element that cannot be read costs that
    element and leaves a finding. The parser is native code that a hostile file can bring down or keep busy
    for ever: who reads files of unknown origin calls this in a process of its own; all that is returned can
    be pickled.
    """
    return read_and_keep(path, scratch, model_name)[0]


def read_and_keep(path: Path, scratch: Path, model_name: str | None = None) -> tuple[ModelFacts, Any]:
    """All facts of the model at `path`, as `read_model` gives them, and the parsed file."""
    source = open_source(path, scratch)
    name = model_name or path.stem
    model, findings = _parse(source, path, name)
    try:
        with collector_off():
            return _read(model, source, name, findings), model
    except MemoryError:
        raise
    except Exception as fault:
        # What is wrong with single products is caught with them; here the file's frame is broken.
        raise InputError(f"{path}: cannot be read ({first_line(fault)}); export it again") from fault


def _parse(source: Source, path: Path, name: str) -> tuple[Any, list[Finding]]:
    """The parsed file, and a finding where the parser had to leave something out."""
    import ifcopenshell

    ifcopenshell.get_log()
    try:
        model = ifcopenshell.open(source.path)
        projects = model.by_type("IfcProject")
    except MemoryError:
        raise  # nothing is wrong with the file
    except Exception as fault:
        raise InputError(
            f"{path}: cannot be read as {source.schema} ({first_line(fault)}); export it again"
        ) from None
    if not projects:
        raise InputError(f"{path}: holds no project; it is empty or damaged, export it again")
    return model, _parse_findings(ifcopenshell.get_log(), name)


def _parse_findings(log: str, name: str) -> list[Finding]:
    """What the parser complained of: lines that it could not read, and so left out or replaced."""
    faults = [match[1] for line in log.splitlines() if (match := _FAULT.search(line))]
    if not faults:
        return []
    return [
        Finding(
            "error",
            "parse-faults",
            name,
            "",
            f"{counted(len(faults), 'place in the file is', 'places in the file are')} faulty, first: "
            f"{clean(faults[0])[:160]}; ask for a new export",
            "read without them, the quantities may be incomplete",
        )
    ]


def _read(model: Any, source: Source, name: str, findings: list[Finding]) -> ModelFacts:
    units = read_units(model)
    relations = read_relations(model)
    properties = Properties(relations, units)
    placements = Placements(units.length)
    context = Context(model, name, relations, properties, Materials(relations, units.length), placements)
    buildings, building_findings = read_buildings(model, relations, placements, name)
    storeys, storey_findings = read_storeys(model, relations, placements, buildings, name)
    structure = read_structure(context)
    elements, element_findings = _elements(context, structure, storeys, buildings)
    hosts = Hosts(context, elements)
    bar_hosts = _bar_hosts(context, structure, hosts)
    bars, bar_findings = read_bars(context, structure.bars, bar_hosts)
    map_conversion, map_name, map_findings = _map(model, units, name)
    findings = [
        *findings,
        *_source_findings(source, name),
        *_unit_findings(units, properties, name),
        *building_findings,
        *storey_findings,
        *map_findings,
        *(
            Finding(
                "warning", "unreadable", name, f"#{step_id}", f"{words}; ask for a new export", "left out"
            )
            for step_id, words in (*relations.broken, *properties.broken)
        ),
        *structure.findings,
        *element_findings,
        *bar_findings,
        *_duplicates(elements, name),
        *_malformed(elements, name),
        *_left_out(context, structure),
        *_other_classes(context),
    ]
    project = model.by_type("IfcProject")[0]
    return ModelFacts(
        model=name,
        path=str(source.path),
        sha256=source.sha256,
        schema="IFC4X3" if source.schema.startswith("IFC4X3") else source.schema,
        length_unit=units.length,
        project_name=clean(project.LongName) or name_of(project),
        storeys=tuple(storeys.values()),
        elements=tuple(elements.values()),
        bars=tuple(bars),
        embedded=tuple(read_embedded(context, structure, hosts)),
        findings=tuple(findings),
        map_conversion=map_conversion,
        map_name=map_name,
        application=_application(model),
        building=building_place(model, placements),
        terrains=read_terrains(model, structure.left_out),
        buildings=tuple(buildings.values()),
    )


def _elements(
    context: Context, structure: Structure, storeys: dict[int, Any], buildings: dict[int, BuildingFacts]
) -> tuple[dict[int, ElementFacts], list[Finding]]:
    """Facts by STEP id in the order of the file, and the findings on the way."""
    reader = ElementReader(context, storeys, buildings, presentation_layers(context.model))
    elements: dict[int, ElementFacts] = {}
    for step_id in sorted(structure.drafts):
        draft = structure.drafts[step_id]
        try:
            elements[step_id] = reader.read(draft)
        except Exception as fault:
            reader.findings.append(unreadable(context.name, draft.product, fault))
    return elements, reader.findings


def _bar_hosts(context: Context, structure: Structure, hosts: Hosts) -> dict[int, str]:
    """GlobalIds of the elements that reinforcement belongs to, by STEP id of the reinforcement."""
    found = {}
    products = [p for name in BAR_CLASSES for p in context.model.by_type(name)]
    for product in [*products, *structure.bars]:
        try:
            host = hosts.of(product) or hosts.named(product)
        except RuntimeError:
            continue
        if host is not None:
            found[product.id()] = host.global_id
    return found


def _map(model: Any, units: Units, name: str) -> tuple[tuple[float, ...] | None, str, list[Finding]]:
    try:
        return read_map(model, units.length, name)
    except Exception as fault:
        words = (str(fault).splitlines() or [type(fault).__name__])[0]
        finding = Finding(
            "warning", "unreadable", name, "", f"map conversion cannot be read ({words})", "none"
        )
        return None, "", [finding]


def _source_findings(source: Source, name: str) -> list[Finding]:
    """What was put right before the file could be parsed."""
    findings = []
    if source.written_schema.upper() != source.schema:
        message = f"the file's schema is called {clean(source.written_schema)}"
        findings.append(Finding("note", "schema-read-as", name, "", message, f"read as {source.schema}"))
    if source.encoding:
        message = "letters are written as raw bytes, which the standard does not allow"
        findings.append(Finding("note", "text-encoding", name, "", message, f"read as {source.encoding}"))
    return findings


def _unit_findings(units: Units, properties: Properties, name: str) -> list[Finding]:
    findings = []
    if "length" in units.missing:
        findings.append(
            Finding("warning", "unit-missing", name, "", "names no usable length unit; ask for it", "metre")
        )
    findings += [
        Finding("warning", "unit-doubtful", name, "", f"{doubt}; ask which is right", f"{units.length:g} m")
        for doubt in units.doubts
    ]
    for kind in sorted(properties.assumed_kinds - {"length"}):
        findings.append(
            Finding(
                "note",
                "unit-missing",
                name,
                "",
                f"declares quantities of {kind} but names no unit for them",
                f"{units.factor(kind):g} times the SI unit",
            )
        )
    return findings


def _duplicates(elements: dict[int, ElementFacts], name: str) -> list[Finding]:
    """A GlobalId that several elements carry: the results of one can't be told from those of the other."""
    counts = Counter(facts.global_id for facts in elements.values())
    return [
        Finding(
            "warning",
            "duplicate-global-id",
            name,
            global_id,
            f"{count} elements carry this GlobalId; ask for a new export",
            "each measured",
        )
        for global_id, count in counts.items()
        if count > 1
    ]


def _malformed(elements: dict[int, ElementFacts], name: str) -> list[Finding]:
    """One finding on elements whose GlobalId is none by the standard: other programs may not know them again."""
    odd = [facts.global_id for facts in elements.values() if not _GLOBAL_ID.fullmatch(facts.global_id)]
    if not odd:
        return []
    shown = ", ".join(odd[:NAMES_SHOWN])
    more = f" and {len(odd) - NAMES_SHOWN} more" if len(odd) > NAMES_SHOWN else ""
    return [
        Finding(
            "warning",
            "malformed-global-id",
            name,
            odd[0],
            f"{len(odd)} elements have no GlobalId, or one that is not as the standard has it: {shown}{more}; "
            "ask for a new export",
            "each measured under what the file has, without any under its number in the file (#...)",
        )
    ]


def _left_out(context: Context, structure: Structure) -> list[Finding]:
    """One note on the proxies and parts that aren't plainly concrete."""
    if not structure.left_out:
        return []
    names = Counter(name_of(product) or product.is_a() for product in structure.left_out)
    shown = ", ".join(f"{n} ({c})" if c > 1 else n for n, c in names.most_common(NAMES_SHOWN))
    more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
    return [
        Finding(
            "note",
            "proxy-left-out",
            context.name,
            "",
            f"{counted(len(structure.left_out), 'proxy or part is', 'proxies or parts are')} not plainly concrete: "
            f"{shown}{more}",
            "not measured",
        )
    ]


def _other_classes(context: Context) -> list[Finding]:
    """One warning on bodies of a concrete material in classes that aren't looked at: parapets drawn as railings."""
    products = []
    for product in context.model.by_type("IfcElement"):
        if kind_of(product) is not None or any(product.is_a(name) for name in _NEVER_CONCRETE):
            continue
        try:
            names = context.materials.of(product).names
            wholes = [kind_of(whole) for whole in context.relations.ancestors(product)]
            if attribute(product, "Representation") is None or any(wholes):
                continue
        except Exception:
            continue  # nobody misses what cannot be read: its class says that it is no concrete work
        if any(substance(name) == "concrete" for name in names):
            products.append(product)
    if not products:
        return []
    classes = Counter(product.is_a() for product in products)
    shown = ", ".join(f"{count} {name}" for name, count in classes.most_common())
    some = name_of(products[0]) or identity(products[0])
    return [
        Finding(
            "warning",
            "class-left-out",
            context.name,
            "",
            f"of a concrete material, but of a class that is no concrete work: {shown} (one is {some}); "
            "ask for a proper class where they are to be priced",
            "not measured",
        )
    ]


def _application(model: Any) -> str:
    """The program that wrote the file, as it calls itself."""
    for application in model.by_type("IfcApplication"):
        return f"{clean(application.ApplicationFullName)} {clean(application.Version)}".strip()
    return ""
