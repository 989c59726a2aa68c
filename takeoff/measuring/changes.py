"""What an alternative changes: a selection of elements, and how they are made instead."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from takeoff.measuring.plan import ROLES

Making = Literal["cast-in-place", "precast", "tilt-up"]
Keep = Literal["middle", "top", "bottom", "low", "high"]
Millimetres = Annotated[float, Field(gt=0, le=20_000, allow_inf_nan=False)]


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str | dict) else value


Patterns = Annotated[tuple[str, ...], BeforeValidator(_as_list), Field(min_length=1)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Selection(_Table):
    """Which elements: those that fit every field given; a field fits by any of its texts, `*` for any letters.

    Case and accents do not count. `storey` is the one that the model files an element under, `material` any of
    its materials, `method` how any part of it is made in the base.
    """

    role: Patterns | None = None
    subrole: Patterns | None = None
    storey: Patterns | None = None
    name: Patterns | None = None
    type: Patterns | None = None
    mark: Patterns | None = None
    material: Patterns | None = None
    method: Patterns | None = None
    strength_class: Patterns | None = None
    ifc_class: Patterns | None = None
    model: Patterns | None = None
    global_id: Patterns | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not self.model_fields_set:
            raise ValueError('says nothing; to select all elements write role = "*"')
        for role in self.role or ():
            if "*" not in role and role not in ROLES:
                raise ValueError(f"role {role!r} is none of {', '.join(ROLES)}")
        return self

    @property
    def words(self) -> str:
        """The selection as a person would say it: `role wall, storey Basement`."""
        told = []
        for name in type(self).model_fields:
            values = getattr(self, name)
            if values is not None:
                shown = " or ".join(values[:4]) + (f" or {len(values) - 4} more" if len(values) > 4 else "")
                told.append(f"{name.replace('_', ' ')} {shown}")
        return ", ".join(told)


Selections = Annotated[tuple[Selection, ...], BeforeValidator(_as_list)]


class LayerChange(_Table):
    """One layer of a new build-up; a layer without a thickness takes what the others leave."""

    method: Making
    thickness_mm: Millimetres | None = None
    strength_class: str = ""
    material: str = ""


class Change(_Table):
    """A selection of elements and how they are made in the alternative.

    Exactly one of: `method` (the whole element), `layers` (a build-up of parts made differently: for walls from
    the face with the smaller coordinate, for slabs from the top down), `cast_with` (one body with the touching
    element of that selection), `omit` (not built). `thickness_mm`, `width_mm`, `depth_mm` change the section
    before that, and may stand alone; `keep` tells which face stays where it is. Pieces that are cast in place
    instead are cast up to their neighbours: gaps up to `close_joints_mm` are filled (default: the joint width
    of the convention).
    """

    select: Selection
    without: Selections = Field(default=(), alias="except")
    method: Making | None = None
    layers: tuple[LayerChange, ...] | None = Field(default=None, min_length=2)
    cast_with: Selection | None = None
    omit: bool = False
    thickness_mm: Millimetres | None = None
    width_mm: Millimetres | None = None
    depth_mm: Millimetres | None = None
    keep: Keep | None = None
    close_joints_mm: Annotated[float, Field(ge=0, le=200)] | None = None
    strength_class: str = ""
    material: str = ""
    because: str = ""

    @model_validator(mode="after")
    def _one_outcome(self) -> Self:
        given = {
            "method": self.method is not None,
            "layers": self.layers is not None,
            "cast_with": self.cast_with is not None,
            "omit": self.omit,
        }
        outcomes = [name for name, present in given.items() if present]
        if len(outcomes) > 1:
            raise ValueError(f"{' and '.join(outcomes)} do not go together; give one of them")
        sizes = [self.thickness_mm, self.width_mm, self.depth_mm]
        resized = any(size is not None for size in sizes)
        if not outcomes and not resized and not self.strength_class:
            raise ValueError(
                "changes nothing; give method, layers, cast_with, omit, a size or strength_class"
            )
        if resized and (self.omit or self.cast_with is not None):
            raise ValueError(f"a size does not go with {outcomes[0]}")
        if self.thickness_mm is not None and (self.width_mm is not None or self.depth_mm is not None):
            raise ValueError("give thickness_mm for plates, or width_mm and depth_mm for columns and beams")
        if self.keep is not None and not resized:
            raise ValueError("keep tells which face stays when a size changes, and no size is given")
        if self.close_joints_mm is not None and self.method != "cast-in-place" and self.cast_with is None:
            raise ValueError('close_joints_mm goes with method = "cast-in-place" or cast_with')
        if self.layers is not None:
            self._check_layers(self.layers)
        return self

    @staticmethod
    def _check_layers(layers: tuple[LayerChange, ...]) -> None:
        if sum(layer.thickness_mm is None for layer in layers) > 1:
            raise ValueError("only one of the layers may leave out its thickness_mm")
        methods = [layer.method for layer in layers]
        if len(set(methods)) == 1:
            raise ValueError(f'all layers are {methods[0]}; give method = "{methods[0]}" instead')

    @property
    def words(self) -> str:
        """What is done, as a person would say it."""
        sizes = [
            f"{name} {size:g} mm"
            for name, size in (
                ("thickness", self.thickness_mm), ("width", self.width_mm), ("depth", self.depth_mm)
            )
            if size is not None
        ]  # fmt: skip
        if self.layers is not None:
            sizes.append(
                "layers "
                + " + ".join(
                    f"{layer.method} {layer.thickness_mm:g} mm"
                    if layer.thickness_mm
                    else f"{layer.method} rest"
                    for layer in self.layers
                )
            )
        if self.cast_with is not None:
            sizes.append(f"cast in one with {self.cast_with.words}")
        if self.omit:
            sizes.append("not built")
        if self.method is not None:
            sizes.append(self.method)
        if self.strength_class:
            sizes.append(f"concrete {self.strength_class}")
        return ", ".join(sizes)
