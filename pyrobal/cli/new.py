"""``pyrobal new``: a case file to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from pyrobal.case.blank import PLANTS, blank
from pyrobal.cli.files import STANDARD, OutputFile, write


@click.command()
@click.argument("file", type=OutputFile())
@click.option(
    "--plant", type=click.Choice(PLANTS), default="furnace", show_default=True,
    help="The furnace alone, the whole plant, or the acid plant alone.",
)  # fmt: skip
def new(file: str, plant: str) -> int:
    """Write a commented case to FILE, to fill in; it runs as it stands.

    A file that is there is never overwritten.
    """
    if file == STANDARD:
        write(file, blank(plant).rstrip("\n"))
        return 0
    try:
        with Path(file).open("x", encoding="utf-8") as target:
            target.write(blank(plant))
    except FileExistsError:
        raise click.BadParameter(f"{file} exists already; name another file", param_hint="FILE") from None
    click.echo(f"{file}: fill it in, then run  pyrobal check {file}  and  pyrobal balance {file}")
    return 0
