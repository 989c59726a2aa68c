"""The bill in a model: a cost schedule whose items have quantities, rates and the elements they are measured on."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from takeoff.outputs.ifc.author import Author, global_id
from takeoff.outputs.ifc.file_units import FileUnits
from takeoff.pricing.records import Bill, Dimension, Item, Section
from takeoff.reading.facts import QuantityKind

# Units of bill items in SI: kind and factor. Exact by definition: foot 0.3048 m, yard 3 ft, pound
# 0.45359237 kg, short ton 2,000 lb.
_UNITS: dict[str, tuple[QuantityKind, float]] = {
    "m": ("length", 1.0),
    "m2": ("area", 1.0),
    "m3": ("volume", 1.0),
    "kg": ("weight", 1.0),
    "t": ("weight", 1000.0),
    "ft": ("length", 0.3048),
    "ft2": ("area", 0.3048**2),
    "yd3": ("volume", 0.9144**3),
    "lb": ("weight", 0.45359237),
    "ton": ("weight", 907.18474),
}
_MEASURES: dict[QuantityKind, str] = {
    "length": "IfcLengthMeasure",
    "area": "IfcAreaMeasure",
    "volume": "IfcVolumeMeasure",
    "weight": "IfcMassMeasure",
}
_OWNED = (
    "IfcRelAssignsToControl",
    "IfcRelAssociatesAppliedValue",
    "IfcRelNests",
    "IfcRelDeclares",
    "IfcCostItem",
    "IfcCostSchedule",
)
"""Classes of which this module adds instances, relations first; some exist in one schema only."""

_HELD = ("IfcCostValue", "IfcPhysicalSimpleQuantity", "IfcMeasureWithUnit", "IfcMonetaryUnit")
"""What they hold, and what goes with them."""
_BILL_SET = "Takeoff_Bill"


def write_cost_items(
    model: Any, author: Author, units: FileUnits, bill: Bill, model_name: str, elements: Mapping[str, Any]
) -> None:
    """Add the bill as a cost schedule. `elements` are the entities of this model by GlobalId.

    An item stands with the quantity of this model's dimensions and is assigned to their elements; an item
    without any dimension in this model is left out. An earlier schedule of this program is taken out first.
    """
    _CostWriter(model, author, units, bill, model_name, elements).write()


class _CostWriter:
    def __init__(
        self,
        model: Any,
        author: Author,
        units: FileUnits,
        bill: Bill,
        model_name: str,
        elements: Mapping[str, Any],
    ) -> None:
        self._model, self._author, self._units, self._bill = model, author, units, bill
        self._elements = elements
        self._older = model.schema == "IFC2X3"
        self._project = model.by_type("IfcProject")[0]
        self._dimensions: dict[str, list[Dimension]] = defaultdict(list)
        for dimension in bill.dimensions:
            if dimension.model == model_name:
                self._dimensions[dimension.item].append(dimension)
        self._currency: Any = None
        self._bases: dict[str, Any] = {}

    def write(self) -> None:
        self._take_out_earlier()
        sections = [section for section in self._bill.sections if self._items_of(section)]
        if not sections:
            return
        schedule = self._root("IfcCostSchedule", "Bill of quantities", "", PredefinedType="PRICEDBILLOFQUANTITIES",
                              **({"ID": "takeoff"} if self._older else {"Identification": "takeoff"}))  # fmt: skip
        heads = []
        for section in sections:
            head = self._root("IfcCostItem", section.title, section.code, **self._identified(section.code))
            heads.append(head)
            items = [self._item(section, item) for item in self._items_of(section)]
            self._root("IfcRelNests", "", f"{section.code} nests", RelatingObject=head, RelatedObjects=items)
        self._root(
            "IfcRelSchedulesCostItems" if self._older else "IfcRelAssignsToControl",
            "", "schedule", RelatedObjects=heads, RelatingControl=schedule,
        )  # fmt: skip
        if not self._older:
            self._root(
                "IfcRelDeclares", "", "declares", RelatingContext=self._project, RelatedDefinitions=[schedule]
            )

    def _items_of(self, section: Section) -> list[Item]:
        return [item for item in section.items if self._dimensions.get(item.key)]

    def _root(self, entity: str, name: str, word: str, **attributes: Any) -> Any:
        return self._model.create_entity(
            entity,
            GlobalId=global_id(self._project.GlobalId, "bill", entity, word),
            OwnerHistory=self._author.history,
            Name=name or None,
            **attributes,
        )

    def _identified(self, number: str) -> dict[str, str]:
        return {"ObjectType": number} if self._older else {"Identification": number}

    def _item(self, section: Section, item: Item) -> Any:
        """A cost item with its quantity, rate and elements."""
        dimensions = self._dimensions[item.key]
        amount = round(sum(dimension.quantity for dimension in dimensions), item.digits)
        kind, factor = _UNITS.get(item.unit, ("count", 1.0))
        quantity = self._units.quantity("Quantity", kind, amount * factor, item.unit)
        words = f"{section.code} {item.key}"
        entity = self._root(
            "IfcCostItem",
            item.description[:255],
            words,
            **self._identified(item.number),
            Description=item.key,
        )
        value = self._value(item) if item.rate is not None else None
        if self._older:
            measured = self._root("IfcElementQuantity", _BILL_SET, words, Quantities=[quantity])
            self._root(
                "IfcRelDefinesByProperties",
                "",
                words,
                RelatedObjects=[entity],
                RelatingPropertyDefinition=measured,
            )
            if value is not None:
                self._root(
                    "IfcRelAssociatesAppliedValue",
                    "",
                    words,
                    RelatedObjects=[entity],
                    RelatingAppliedValue=value,
                )
        else:
            entity.CostQuantities = [quantity]
            if value is not None:
                entity.CostValues = [value]
        names = dict.fromkeys(dimension.global_id for dimension in dimensions)
        found = [self._elements[name] for name in names if name in self._elements]
        if found:
            self._root("IfcRelAssignsToControl", "", words, RelatedObjects=found, RelatingControl=entity)
        return entity

    def _value(self, item: Item) -> Any:
        """The rate, for one unit of the item."""
        money = self._model.create_entity("IfcMonetaryMeasure", float(item.rate or 0.0))
        currency = self._monetary_unit()
        if currency is not None:
            money = self._model.create_entity(
                "IfcMeasureWithUnit", ValueComponent=money, UnitComponent=currency
            )
        attributes = {"Name": "Rate", "Description": item.rate_source or None, "AppliedValue": money}
        attributes["UnitBasis"] = self._basis(item.unit)
        if self._older:
            attributes["CostType"] = "Rate"
        return self._model.create_entity("IfcCostValue", **attributes)

    def _monetary_unit(self) -> Any:
        """The bill's currency; IFC2X3 has a closed list, and what is not in it stays unsaid."""
        if self._currency is None and self._bill.currency and self._is_known(self._bill.currency):
            self._currency = self._model.create_entity("IfcMonetaryUnit", Currency=self._bill.currency)
        return self._currency

    def _is_known(self, currency: str) -> bool:
        import ifcopenshell

        if not self._older:
            return True
        schema = ifcopenshell.schema_by_name(self._model.schema_identifier)
        listed = schema.declaration_by_name("IfcCurrencyEnum").as_enumeration_type()
        return listed is not None and currency in listed.enumeration_items()

    def _basis(self, unit: str) -> Any:
        """What the rate is for: one unit of the item, in SI."""
        if unit not in _UNITS:
            return None
        if unit not in self._bases:
            kind, factor = _UNITS[unit]
            self._bases[unit] = self._model.create_entity(
                "IfcMeasureWithUnit",
                ValueComponent=self._model.create_entity(_MEASURES[kind], factor),
                UnitComponent=self._units.si_unit(kind),
            )
        return self._bases[unit]

    def _take_out_earlier(self) -> None:
        """Remove the schedule that an earlier run left in the file: all of it bears this program's history."""
        history = self._author.history
        for entity in _OWNED:
            try:
                found = self._model.by_type(entity)
            except RuntimeError:
                continue  # not in this schema
            for instance in found:
                if instance.OwnerHistory == history:
                    self._remove(instance)
        # In IFC2X3 quantities hang on an item by a relation, so that the item does not hold them itself.
        for measured in self._model.by_type("IfcElementQuantity"):
            if measured.Name == _BILL_SET and measured.OwnerHistory == history:
                for relation in self._model.get_inverse(measured):
                    self._model.remove(relation)
                self._remove(measured)

    def _remove(self, instance: Any) -> None:
        """Remove an entity and what it held that nobody else holds."""
        values = [value for value in instance if value is not None]
        values += [one for value in values if isinstance(value, tuple) for one in value]
        held = [value for value in values if hasattr(value, "is_a") and any(map(value.is_a, _HELD))]
        self._model.remove(instance)
        for entity in held:
            if entity.id() and not self._model.get_total_inverses(entity):
                self._remove(entity)
