"""Files that belong together: what is measured as one."""

from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase

from msgspec import Struct

from takeoff.nightly.folder import FoundFile
from takeoff.nightly.job import Group
from takeoff.nightly.names import name_key, shown


class Model(Struct, frozen=True):
    """One measurement of the night: a file, or files measured together. `key` is what history knows it by."""

    key: str
    name: str
    files: tuple[FoundFile, ...]
    together: bool = False

    @property
    def size(self) -> int:
        """Bytes of all its files."""
        return sum(file.size for file in self.files)


def group_files(
    files: Iterable[FoundFile], groups: Sequence[Group], by_folder: bool
) -> tuple[tuple[Model, ...], tuple[str, ...]]:
    """The models that files make, by name, and remarks on files that two groups claim and on empty groups.

    Listed groups take their files first; with `by_folder` the rest of each sub-folder belongs together.
    """
    members: dict[tuple[str, str], list[FoundFile]] = {}
    remarks: list[str] = []
    for file in files:
        claims = [group.name for group in groups if _claims(group, file.path)]
        if len(claims) > 1:
            remarks.append(
                f"{shown(file.path)}: fits the groups {', '.join(map(shown, claims))}; "
                f"measured with {shown(claims[0])}"
            )
        folder = file.path.rpartition("/")[0]
        if claims:
            place = ("group", claims[0])
        elif by_folder and folder:
            place = ("folder", folder)
        else:
            place = ("file", file.path)
        members.setdefault(place, []).append(file)
    for group in groups:
        if ("group", group.name) not in members:
            remarks.append(f"group {shown(group.name)}: no file fits its patterns")
    models = [
        Model(name_key(kind, name), shown(name), tuple(own), kind != "file")
        for (kind, name), own in members.items()
    ]
    return tuple(sorted(models, key=lambda model: (model.name, model.key))), tuple(remarks)


def _claims(group: Group, path: str) -> bool:
    low = path.casefold()
    name = low.rpartition("/")[2]
    return any(fnmatchcase(low if "/" in p else name, p.casefold()) for p in group.models)
