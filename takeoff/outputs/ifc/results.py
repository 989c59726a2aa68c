"""What is written on each element: base quantities, our own quantities, the method, and how it was found."""

from collections.abc import Sequence
from typing import Any

from takeoff import __version__
from takeoff.measuring.element_figures import ElementFigures
from takeoff.outputs.ifc.base_quantities import OWN_SET, Quantity, base_quantities, own_quantities
from takeoff.outputs.ifc.definitions import Definitions
from takeoff.outputs.ifc.file_units import FileUnits

RESULT_SET = "Takeoff_Result"
"""Our own property set. `Method` in it is read back (templates/methods.toml), so it never holds a guess."""
METHOD_SET = "Pset_ConcreteElementGeneral"

# The standard has words for two methods only, in IFC4X3 as an enumeration. A tilt-up panel is cast on site and
# put up like a precast one: it gets neither word, only our own property.
_IN_WORDS = {"cast-in-place": "In-Situ", "precast": "Precast"}
_IN_CAPITALS = {"cast-in-place": "INSITU", "precast": "PRECAST"}
_CASTING_METHODS = ("INSITU", "MIXED", "PRECAST", "PRINTED", "OTHER", "NOTKNOWN", "UNSET")
"""IFC4X3, PEnum_ConcreteCastingMethod."""

_DIFFERS = 1e-6
"""Share by which an existing quantity must differ before it is exchanged."""


class ElementWriter:
    """Writes the results of elements into one model."""

    def __init__(self, model: Any, definitions: Definitions, units: FileUnits, convention: str) -> None:
        self._model = model
        self._definitions = definitions
        self._units = units
        self._convention = convention
        self._enumeration: Any = None
        self._labels: dict[tuple[str, str], Any] = {}

    def write(self, element: Any, figures: ElementFigures, items: Sequence[str]) -> None:
        """All that is known of one element; `items` are the numbers of its bill items."""
        set_name, quantities = base_quantities(figures, element, self._model.schema)
        if set_name:
            self._put_quantities(element, set_name, quantities)
        self._put_quantities(element, OWN_SET, own_quantities(figures))
        self._put_method(element, figures)
        self._put_result(element, figures, items)

    def _put_quantities(self, element: Any, set_name: str, quantities: Sequence[Quantity]) -> None:
        """Write quantities; one of the same kind and value stays, one that differs is exchanged and named."""
        known = self._definitions.find(element, "IfcElementQuantity", set_name)
        existing = self._definitions.values(known) if known is not None else {}
        values = {}
        for quantity in quantities:
            old = existing.get(quantity.name)
            description = f"measured, convention {self._convention}"
            if old is not None and self._units.kind_of(old) == quantity.kind:
                before = self._units.read(old, quantity.kind)
                if abs(before - quantity.value) <= _DIFFERS * max(abs(before), quantity.value):
                    continue
                if set_name != OWN_SET and not (old.Description or "").startswith("measured"):
                    description += f"; before: {float(old[3]):.10g}"
            values[quantity.name] = self._units.quantity(
                quantity.name, quantity.kind, quantity.value, description
            )
        self._definitions.put(
            element,
            "IfcElementQuantity",
            set_name,
            values,
            {"MethodOfMeasurement": f"takeoff {self._convention}"},
        )

    def _put_method(self, element: Any, figures: ElementFigures) -> None:
        """The standard property, where the method is certain, one for all, and not that property's own word."""
        evidence = figures.parts[0].evidence
        if (
            len(figures.methods) != 1
            or len(figures.plan.parts) != 1
            or figures.assumed
            or figures.methods[0] not in _IN_WORDS
            or f"property {METHOD_SET}." in evidence
        ):
            return
        known = self._definitions.find(element, "IfcPropertySet", METHOD_SET)
        existing = self._definitions.values(known) if known is not None else {}
        names: list[str] = [name for name in ("CastingMethod", "ConstructionMethod") if name in existing]
        standard = "CastingMethod" if self._model.schema == "IFC4X3" else "ConstructionMethod"
        method = figures.methods[0]
        values = {name: self._method(name, method) for name in names or [standard]}
        self._definitions.put(element, "IfcPropertySet", METHOD_SET, values)

    def _method(self, name: str, method: str) -> Any:
        if name == "ConstructionMethod":
            return self._single(name, "IfcLabel", _IN_WORDS[method])
        return self._model.create_entity(
            "IfcPropertyEnumeratedValue",
            Name=name,
            EnumerationValues=[self._model.create_entity("IfcLabel", _IN_CAPITALS[method])],
            EnumerationReference=self._casting_methods() if self._model.schema == "IFC4X3" else None,
        )

    def _casting_methods(self) -> Any:
        name = "PEnum_ConcreteCastingMethod"
        if self._enumeration is None:
            known = [e for e in self._model.by_type("IfcPropertyEnumeration") if e.Name == name]
            words = [self._model.create_entity("IfcLabel", word) for word in _CASTING_METHODS]
            self._enumeration = (
                known[0]
                if known
                else self._model.create_entity("IfcPropertyEnumeration", Name=name, EnumerationValues=words)
            )
        return self._enumeration

    def _put_result(self, element: Any, figures: ElementFigures, items: Sequence[str]) -> None:
        """Our own set: the method and its evidence, pieces, bill items, what is uncertain."""
        single = len(figures.methods) == 1 and len(figures.plan.parts) == 1
        sure = single and not figures.assumed and figures.methods[0] != "unresolved"
        parts = "; ".join(f"{part.part}: {part.method}" for part in figures.parts)
        texts: dict[str, str] = {
            "Method": figures.methods[0] if sure else "",
            "MethodAssumed": figures.methods[0] if single and not sure else "",
            "MethodsOfParts": "" if single else parts,
            "MethodEvidence": "; ".join(dict.fromkeys(part.evidence for part in figures.parts)),
            "Condition": figures.condition,
            "ReinforcementBasis": figures.reinforcement_basis,
            "RepetitionGroup": "; ".join(dict.fromkeys(piece.repetition_group for piece in figures.pieces)),
            "BillItems": "; ".join(items),
            "MeasuredBy": f"takeoff {__version__}, convention {self._convention}",
        }
        values = {
            name: self._single(name, "IfcText" if len(text) > 255 else "IfcLabel", text)
            for name, text in texts.items()
            if text
        }
        gone = tuple(texts.keys() - values.keys())
        self._definitions.put(element, "IfcPropertySet", RESULT_SET, values, gone=gone)

    def _single(self, name: str, kind: str, text: str) -> Any:
        """A property of one value; one entity serves all elements with the same words."""
        key = name, text
        if key not in self._labels:
            self._labels[key] = self._model.create_entity(
                "IfcPropertySingleValue", Name=name, NominalValue=self._model.create_entity(kind, text)
            )
        return self._labels[key]
