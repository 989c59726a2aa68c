"""A copy of a model with the results in it: quantities, methods, prefabrication share, bill items."""

import glob
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.measuring.element_figures import ElementFigures, element_figures
from takeoff.outputs.files import write_whole
from takeoff.outputs.ifc.author import Author
from takeoff.outputs.ifc.cost_items import write_cost_items
from takeoff.outputs.ifc.definitions import Definitions
from takeoff.outputs.ifc.file_units import FileUnits
from takeoff.outputs.ifc.results import ElementWriter
from takeoff.reading.sources import open_source
from takeoff.scratch import scratch_folder

if TYPE_CHECKING:
    from takeoff.pipeline import Run
    from takeoff.pricing.records import Bill, ShareRow
    from takeoff.reading.facts import ModelFacts

SHARE_SET = "Takeoff_Prefabrication"


class Enrichment(Struct, frozen=True):
    """What goes into one model: figures by STEP id of the element, numbers of bill items by GlobalId."""

    model: str
    convention: str
    figures: Mapping[int, ElementFigures]
    items: Mapping[str, Sequence[str]]
    shares: "Sequence[ShareRow]" = ()
    bill: "Bill | None" = None


def copies_for(target: Path, models: Sequence[str]) -> dict[str, Path]:
    """Where the copy of each model goes, by its name: `target` for one, files of their names in it for several.

    Raises:
        InputError: two models would share one file, or `target` does not end in .ifc where it is a file.
    """
    if len(models) == 1:
        if target.suffix.lower() != ".ifc":
            raise InputError(f"{target}: a model is written as .ifc; give it a name that ends so")
        return {models[0]: target}
    if target.suffix:
        raise InputError(
            f"{target}: {len(models)} models need a folder to be written to; give a name without ending"
        )
    copies = {name: target / f"{Path(name).stem}.ifc" for name in models}
    if len({path.name.casefold() for path in copies.values()}) < len(copies):
        raise InputError(f"{target}: two of the models have the same file name; write them one at a time")
    return copies


def require_other_files(copies: Iterable[Path], models: Sequence[Path]) -> None:
    """Raise InputError where a copy would replace one of the models."""
    for copy in copies:
        if any(copy.exists() and model.exists() and copy.samefile(model) for model in models):
            raise InputError(f"{copy}: is one of the models themselves; give another name for the copy")


def write_enriched(target: Path, run: "Run") -> tuple[Path, ...]:
    """Write a copy of each model of a run with the results in it; the models themselves are only read.

    Returns the files written. Raises InputError where a copy would replace one of the models, or cannot be
    written.
    """
    copies = copies_for(target, [model.model for model in run.models])
    require_other_files(copies.values(), tuple(run.sources.values()))
    if len(run.models) > 1:
        target.mkdir(exist_ok=True)
    convention = str(run.record["convention"]["name"])
    for model in run.models:
        enrichment = _enrichment(run, model, convention)
        write_whole(
            copies[model.model],
            lambda partial, model=model, what=enrichment: _write(run.sources[model.model], partial, what),  # type: ignore[misc]
        )
    return tuple(copies.values())


def _enrichment(run: "Run", model: "ModelFacts", convention: str) -> Enrichment:
    measurement = run.measurement
    plans = [plan for plan in run.plans if plan.facts.model == model.model]
    figures = element_figures(plans, measurement.parts, measurement.pieces)
    items: dict[str, dict[str, None]] = defaultdict(dict)
    if run.bill is not None:
        numbers = {item.key: item.number for section in run.bill.sections for item in section.items}
        for dimension in run.bill.dimensions:
            if dimension.model == model.model and dimension.item in numbers:
                items[dimension.global_id][numbers[dimension.item]] = None
    return Enrichment(
        model.model,
        convention,
        {found.plan.facts.step_id: found for found in figures},
        {name: tuple(own) for name, own in items.items()},
        tuple(row for row in run.shares if row.by == "all"),
        run.bill,
    )


def _write(source: Path, target: Path, what: Enrichment) -> None:
    """Read the model once more, put everything in, write it to `target`."""
    import ifcopenshell

    with scratch_folder("model-copy") as scratch:
        model = ifcopenshell.open(open_source(source, scratch).path)
        enrich(model, what)
        try:
            model.write(str(target))
        except RuntimeError as problem:
            # The library says no more, and leaves its own half-written file behind.
            for rest in target.parent.glob(f"{glob.escape(target.name)}.*.tmp"):
                rest.unlink(missing_ok=True)
            raise OSError("the IFC library gave up; is there room on the disk?") from problem


def enrich(model: Any, what: Enrichment, seconds: int | None = None) -> None:
    """Put the results into an opened model. `seconds` since 1970 are noted as the time of it, None: now."""
    author = Author(model, int(time.time()) if seconds is None else seconds)
    definitions = Definitions(model, author)
    units = FileUnits(model)
    writer = ElementWriter(model, definitions, units, what.convention)
    elements = {}
    for number, figures in what.figures.items():
        element = model.by_id(number)
        elements[element.GlobalId] = element
        writer.write(element, figures, what.items.get(element.GlobalId, ()))
    _write_shares(model, definitions, what.shares)
    definitions.finish()
    if what.bill is not None:
        write_cost_items(model, author, units, what.bill, what.model, elements)


def _write_shares(model: Any, definitions: Definitions, shares: "Sequence[ShareRow]") -> None:
    """The prefabrication share of all that was measured together, on the project."""
    values = {}
    for row in shares:
        if row.share is not None:
            name = "ShareBy" + "".join(word.capitalize() for word in row.measure.split())
            share = model.create_entity(
                "IfcPropertySingleValue",
                Name=name,
                NominalValue=model.create_entity("IfcRatioMeasure", float(row.share)),
            )
            # The second attribute is called `Description`, and `Specification` from IFC4X3 on.
            share[1] = f"{row.prefabricated:.6g} of {row.total:.6g} {row.unit}"
            values[name] = share
    if values:
        definitions.put(model.by_type("IfcProject")[0], "IfcPropertySet", SHARE_SET, values)
