"""The command line: one group, its commands from `takeoff.commands`, a file each."""

import click

from takeoff import __version__
from takeoff.commands.bill import bill
from takeoff.commands.changes import changes
from takeoff.commands.check import check
from takeoff.commands.compare import compare
from takeoff.commands.docs import docs
from takeoff.commands.history import history
from takeoff.commands.measure import measure
from takeoff.commands.nightly import nightly
from takeoff.commands.page import page
from takeoff.commands.rates import rates
from takeoff.commands.standard_output import Program
from takeoff.commands.templates import templates


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="takeoff")
def main() -> None:
    """Quantities and a priced bill for concrete structures, measured from IFC building models.

    Begin with: takeoff bill model.ifc --out bill.xlsx --page bill.html

    Documents: takeoff docs. Options of a command: takeoff COMMAND --help.

    Exit codes: 0 done; 1 nothing could be produced; 2 wrong usage; 3 produced but incomplete, with --strict.
    """


for command in (measure, bill, compare, changes, page, rates, check, nightly, history, templates, docs):
    main.add_command(command)
