"""`takeoff docs`: the shipped documents, on the terminal or for a browser."""

from pathlib import Path

import click

from takeoff.commands.common import PATH, problems


def _topics(context: click.Context, parameter: click.Parameter, typed: str) -> list[str]:
    """Topics that begin with what is typed, for the tab key."""
    del context, parameter
    from takeoff.documents import TOPICS

    return [topic for topic in TOPICS if topic.startswith(typed)]


@click.command()
@click.argument("topic", required=False, shell_complete=_topics)
@click.option("--out", type=PATH, help="Folder to write all documents to, for a browser.")
def docs(topic: str | None, out: Path | None) -> None:
    """Show the document on TOPIC, or list the topics.

    Example: takeoff docs numbers
    """
    with problems():
        from takeoff.documents import document, documents

        if out is not None:
            from takeoff.outputs.document_pages import write_documents

            if topic is not None:
                raise click.UsageError("--out writes all documents; leave the topic out")
            write_documents(out)
            click.echo(f"written: {out / 'index.html'}")
        elif topic is None:
            for one in documents():
                click.echo(f"{one.topic:<12}{one.title}")
        else:
            from takeoff.outputs.terminal import print_document

            print_document(document(topic).text)
