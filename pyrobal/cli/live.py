"""``pyrobal live``: a case in a page of one's own browser, answered while settings move."""

from __future__ import annotations

import contextlib
import os
import tempfile
import threading
import webbrowser
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from pyrobal.cli.files import STANDARD, needs
from pyrobal.cli.options import case_argument, overrides
from pyrobal.cli.streams import say
from pyrobal.errors import CaseError, Fault


@click.command()
@case_argument
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N",
              help="The port on this machine; any free one unless given.")  # fmt: skip
@click.option("--no-browser", is_flag=True, help="Only say the address.")
@overrides
def live(case: str, port: int, no_browser: bool, assignments: tuple[str, ...]) -> None:
    """Show CASE in a page of your own browser, which answers while settings move.

    The page is served on this machine only, to whoever has its address. Ctrl-C stops it.
    """
    with needs("live", "live"):
        from pyrobal.live.server import Server
    from pyrobal.live.source import Source

    source = Source(case, assignments)
    faults = source.now().faults
    if not _mendable(case, faults):
        raise CaseError(faults)
    try:
        server = Server(source, port)
    except OSError as error:
        raise click.UsageError(f"--port: port {port} cannot be used: {error.strerror or error}") from None
    for fault in faults:
        say(str(fault))
    click.echo(f"{case} is at {server.address}\nKeep the address to yourself. Ctrl-C stops it.")
    with contextlib.nullcontext() if no_browser else _opening(server.address):
        server.run()


def _mendable(case: str, faults: Sequence[Fault]) -> bool:
    """Whether all that is wrong, if anything, stands in a file and can be mended while the page is open."""
    there = case != STANDARD and Path(case).is_file()
    return not faults or (there and all(fault.file != "--set" for fault in faults))


@contextlib.contextmanager
def _opening(address: str) -> Iterator[None]:
    """The page in the browser of this person. The address goes by way of a file that only they can read:
    the words on a browser's command line can be read by everybody on the machine."""
    with tempfile.TemporaryDirectory(prefix="pyrobal-") as folder:  # mode 0700
        file = Path(folder) / "live.html"
        file.write_text(f'<!doctype html><title>pyrobal</title><meta name="referrer" content="no-referrer">'
                        f'<meta http-equiv="refresh" content="0; url={address}">')  # fmt: skip
        threading.Thread(target=_open, args=(file.as_uri(),), daemon=True).start()  # some wait for its end
        yield


def _open(address: str) -> None:
    with _silent():
        opened = webbrowser.open(address)
    if not opened:
        say("no browser could be started; open the address in yours")


@contextlib.contextmanager
def _silent() -> Iterator[None]:
    """What a browser says on starting is not for this terminal."""
    kept = [os.dup(number) for number in (1, 2)]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        for number in (1, 2):
            os.dup2(nowhere, number)
        yield
    finally:
        for number, copy in zip((1, 2), kept, strict=True):
            os.dup2(copy, number)
            os.close(copy)
        os.close(nowhere)
