"""Options that hand results back: into the model, to its designer, and to whoever decides on methods."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click
from msgspec import Struct

from takeoff.commands.common import PATH

if TYPE_CHECKING:
    from takeoff.pipeline import Progress, Run


class HandBack(Struct, frozen=True):
    """What is to be written besides the result itself; None: not asked for."""

    ifc: Path | None
    bcf: Path | None
    bcf_version: Literal["3.0", "2.1"]
    methods_list: Path | None

    @classmethod
    def taken_from(cls, flags: dict[str, Any], models: Sequence[Path]) -> "HandBack":
        """What the flags of a command on `models` ask for; they are taken out of `flags`, as far as it has them.

        Raises InputError, before anything is measured, for a copy that would replace a model and where a
        library that is needed is missing.
        """
        names = ("ifc", "bcf", "bcf_version", "methods_list")
        asked = cls(*(flags.pop(name, None) for name in names))
        asked._require_possible(models)
        return asked

    @property
    def empty(self) -> bool:
        """Whether nothing is asked for."""
        return self.ifc is None and self.bcf is None and self.methods_list is None

    def _require_possible(self, models: Sequence[Path]) -> None:
        if self.ifc is not None:
            from takeoff.model_names import model_names
            from takeoff.outputs.ifc.enriched import copies_for, require_other_files

            require_other_files(copies_for(self.ifc, list(model_names(models).values())).values(), models)
        if self.bcf is not None:
            from takeoff.outputs.bcf.container import require_library

            require_library()

    def write(self, run: "Run", report: "Progress") -> tuple[Path, ...]:
        """Write what was asked for; the paths written."""
        written: list[Path] = []
        if self.ifc is not None:
            from takeoff.outputs.ifc.enriched import write_enriched

            report("model", 0, 0)
            written += write_enriched(self.ifc, run)
            for finding in run.measurement.findings:
                if finding.kind == "parse-faults":
                    click.echo(
                        f"takeoff: {finding.model}: the copy lacks what could not be read in the model: "
                        f"{finding.message}",
                        err=True,
                    )
        if self.bcf is not None:
            from takeoff.outputs.bcf.container import write_bcf

            report("topics", 0, 0)
            write_bcf(self.bcf, run, self.bcf_version)
            written.append(self.bcf)
        if self.methods_list is not None:
            from takeoff.outputs.method_list import write_method_list

            write_method_list(self.methods_list, run)
            written.append(self.methods_list)
        return tuple(written)


def topics(command: Callable[..., None]) -> Callable[..., None]:
    """The options on topics for the designer."""
    command = click.option(
        "--bcf-version",
        type=click.Choice(["3.0", "2.1"]),
        default="3.0",
        show_default=True,
        help="Version of BCF that the designer's program reads.",
    )(command)
    return click.option(
        "--bcf", type=PATH, help="Also write the findings as topics for the designer (.bcf)."
    )(command)


def handing_back(command: Callable[..., None]) -> Callable[..., None]:
    """All options that `HandBack.taken_from` takes out of a command's flags."""
    command = click.option(
        "--methods-list",
        type=PATH,
        help="Also write all elements with their methods (CSV), to edit and give back with --overrides.",
    )(command)
    return click.option(
        "--ifc",
        type=PATH,
        help="Also write a copy of the model with quantities, methods and bill items in it (.ifc; a folder "
        "for several models).",
    )(topics(command))
