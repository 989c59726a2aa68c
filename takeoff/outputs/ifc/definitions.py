"""Property and quantity sets on the elements of a model: found, edited without touching a neighbour, added."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from takeoff.outputs.ifc.author import Author, global_id

_LIST_OF = {"IfcPropertySet": "HasProperties", "IfcElementQuantity": "Quantities"}


class Definitions:
    """The sets of a model by element. Changes to relations are gathered and made by `finish`.

    Exporters share sets, properties and relations among elements as they like, so a set that somebody else
    uses is copied before it is changed, and a value is exchanged for a new one, never overwritten.
    """

    def __init__(self, model: Any, author: Author) -> None:
        self._model = model
        self._author = author
        self._of: dict[int, list[tuple[Any, Any]]] = defaultdict(list)
        self._users: Counter[int] = Counter()
        self._leaving: dict[int, set[int]] = defaultdict(set)
        for relation in model.by_type("IfcRelDefinesByProperties"):
            definition = relation.RelatingPropertyDefinition
            if definition is None or not definition.is_a("IfcPropertySetDefinition"):
                continue
            for element in relation.RelatedObjects or ():
                self._of[element.id()].append((relation, definition))
                self._users[definition.id()] += 1
        for kind in model.by_type("IfcTypeObject"):
            for definition in kind.HasPropertySets or ():
                self._users[definition.id()] += 1

    def find(self, element: Any, entity: str, name: str) -> Any:
        """The element's own set of that entity and name, None if it has none."""
        return next(
            (found for _, found in self._of[element.id()] if found.is_a() == entity and found.Name == name),
            None,
        )

    def values(self, definition: Any) -> dict[str, Any]:
        """The properties or quantities of a set by name."""
        return {value.Name: value for value in getattr(definition, _LIST_OF[definition.is_a()]) or ()}

    def put(
        self,
        element: Any,
        entity: str,
        name: str,
        values: Mapping[str, Any],
        more: Mapping[str, Any] | None = None,
        gone: Sequence[str] = (),
    ) -> None:
        """Give the element's set `name` these properties or quantities (new entities, by name).

        What the set holds under other names stays, except what is named in `gone`. `more` are attributes of
        the set itself, for one that has to be made.
        """
        definition = self.find(element, entity, name)
        if definition is None:
            if values:
                self._add(element, entity, name, tuple(values.values()), more or {})
            return
        if not values and not set(gone) & self.values(definition).keys():
            return
        if self._users[definition.id()] > 1:
            definition = self._copied(element, definition)
        listed = _LIST_OF[entity]
        before = tuple(getattr(definition, listed) or ())
        waiting = dict(values)
        after = [waiting.pop(old.Name, None) or old for old in before if old.Name not in gone]
        setattr(definition, listed, (*after, *waiting.values()))
        for old in before:
            if (old.Name in values or old.Name in gone) and not self._model.get_total_inverses(old):
                self._model.remove(old)

    def finish(self) -> None:
        """Take the elements out of the relations that they left."""
        for number, elements in self._leaving.items():
            relation = self._model.by_id(number)
            staying = [element for element in relation.RelatedObjects if element.id() not in elements]
            if staying:
                relation.RelatedObjects = staying
            else:
                self._model.remove(relation)
        self._leaving.clear()

    def _copied(self, element: Any, definition: Any) -> Any:
        """A copy of a shared set for one element alone."""
        self._users[definition.id()] -= 1
        shared = [entry for entry in self._of[element.id()] if entry[1] == definition]
        for relation, _ in shared:
            self._leaving[relation.id()].add(element.id())
        self._of[element.id()] = [entry for entry in self._of[element.id()] if entry[1] != definition]
        listed = _LIST_OF[definition.is_a()]
        attributes = {
            key: value
            for key, value in definition.get_info(recursive=False).items()
            if key not in ("id", "type", "GlobalId", "OwnerHistory", listed) and value is not None
        }
        return self._add(
            element, definition.is_a(), definition.Name, tuple(getattr(definition, listed) or ()), attributes
        )

    def _add(
        self, element: Any, entity: str, name: str, values: tuple[Any, ...], more: Mapping[str, Any]
    ) -> Any:
        words = element.GlobalId, entity, name
        definition = self._model.create_entity(
            entity,
            **{
                **more,
                "GlobalId": global_id(*words),
                "OwnerHistory": self._author.history,
                "Name": name,
                _LIST_OF[entity]: values,
            },
        )
        relation = self._model.create_entity(
            "IfcRelDefinesByProperties",
            GlobalId=global_id(*words, "relation"),
            OwnerHistory=self._author.history,
            RelatedObjects=[element],
            RelatingPropertyDefinition=definition,
        )
        self._of[element.id()].append((relation, definition))
        self._users[definition.id()] += 1
        return definition
