"""`takeoff templates`: copies of the data files to edit."""

from pathlib import Path

import click

from takeoff.commands.common import PATH, problems


@click.command()
@click.argument("folder", type=PATH)
def templates(folder: Path) -> None:
    """Copy the data files that a user edits to FOLDER.

    Example: takeoff templates data
    """
    with problems():
        from takeoff.outputs.template_copies import copy_templates

        for path in copy_templates(folder):
            click.echo(path)
