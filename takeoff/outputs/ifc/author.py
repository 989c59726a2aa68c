"""Entities that say who wrote into a model, and GlobalIds that stay the same from run to run."""

import uuid
from typing import Any

from takeoff import __version__

NAME = "takeoff"
_NAMESPACE = uuid.UUID("6b0d9c53-3c0b-5e0e-9a55-0d2f7b1f4f7a")
"""Of our own; any fixed number would do."""


def global_id(*words: str) -> str:
    """A GlobalId that follows from words alone, so that a model written twice is the same model twice."""
    import ifcopenshell.guid

    compressed: str = ifcopenshell.guid.compress(uuid.uuid5(_NAMESPACE, "\n".join(words)).hex)
    return compressed


class Author:
    """Gives every entity that is added an owner history of this program, made once for each file."""

    def __init__(self, model: Any, seconds: int) -> None:
        self._model = model
        self._seconds = seconds
        self._history: Any = None

    @property
    def history(self) -> Any:
        """The owner history: IFC2X3 demands one, the later schemas allow it."""
        if self._history is None:
            self._history = self._make()
        return self._history

    def _make(self) -> Any:
        model = self._model
        for known in model.by_type("IfcOwnerHistory"):
            application = known.OwningApplication
            if application is not None and application.ApplicationIdentifier == NAME:
                known.CreationDate = known.LastModifiedDate = self._seconds
                application.Version = __version__
                return known
        older = model.schema == "IFC2X3"
        organization = model.create_entity("IfcOrganization", Name=NAME)
        person = model.create_entity(
            "IfcPerson", FamilyName=NAME, **{"Id" if older else "Identification": NAME}
        )
        user = model.create_entity("IfcPersonAndOrganization", ThePerson=person, TheOrganization=organization)
        application = model.create_entity(
            "IfcApplication",
            ApplicationDeveloper=organization,
            Version=__version__,
            ApplicationFullName=NAME,
            ApplicationIdentifier=NAME,
        )
        return model.create_entity(
            "IfcOwnerHistory",
            OwningUser=user,
            OwningApplication=application,
            ChangeAction="ADDED",
            LastModifiedDate=self._seconds,  # IFC4: a change has a date
            CreationDate=self._seconds,
        )
