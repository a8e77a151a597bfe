"""`frogfeed schema`: the JSON Schema of the layout file."""

from __future__ import annotations

import click

from frogfeed.layout.json_schema import schema_text


@click.command("schema")
def command() -> None:
    """Print the JSON Schema of the layout file, for completion in an editor."""
    click.echo(schema_text())
