"""The command line: one group, its commands from `takeoff.commands`, a file each."""

from importlib import import_module

import click

from takeoff import __version__
from takeoff.commands.standard_output import Program

COMMANDS = (
    "bill", "changes", "check", "compare", "docs", "history", "measure", "nightly", "page", "rates", "templates",
)  # fmt: skip
"""Each stands in the file of its name and is read in when it is asked for."""


class _Takeoff(Program):
    """The commands by name; a run reads in its own and no other."""

    supervised = ("bill", "changes", "check", "compare", "measure", "page")

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of this name, None where there is none."""
        if cmd_name not in self.commands:
            return None
        command: click.Command = getattr(import_module(f"takeoff.commands.{cmd_name}"), cmd_name)
        return command


@click.group(
    cls=_Takeoff,
    commands=[click.Command(name) for name in COMMANDS],  # stand for their names until they are read in
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, prog_name="takeoff")
def main() -> None:
    """Quantities and a priced bill for concrete structures, measured from IFC building models.

    Begin with: takeoff bill model.ifc --out bill.xlsx --page bill.html

    Documents: takeoff docs. Options of a command: takeoff COMMAND --help.

    Exit codes: 0 done; 1 nothing could be produced; 2 wrong usage; 3 produced but incomplete, with --strict.
    """
