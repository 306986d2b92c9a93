"""Files on the command line: none that is read, and none that is written, is written over.

Every file of a command is a parameter of type ``INPUT`` or ``OutputFile``. As click turns the words of a
line into values, each file is held against those before it, so that a line that would lose a file is refused
before the command begins.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from pyrobal.files import put

_ON_THE_LINE = f"{__name__}.on_the_line"
STANDARD = "-"  # standard input or output, by what the file is for


class _File(click.ParamType):  # type: ignore[type-arg] # not generic before click 8.4
    """A name of a file; the shell completes it as one."""

    name = "file"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Whatever file the shell finds."""
        return [CompletionItem(incomplete, type="file")]


class InputFile(_File):
    """A file that the command reads; "-" is standard input."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The name as it stands. Raises click.BadParameter where the same line writes the file."""
        _take(_Named(value, param, written=False, places=(value,)), ctx)
        return value


@dataclass(frozen=True)
class OutputFile(_File):
    """A file that the command writes; "-" is standard output.

    text : whether that may be asked for
    folder : whether it may be a folder; whoever writes one says what is wrong with it
    beside : what is put behind its name for further files and folders
    """

    text: bool = True
    folder: bool = False
    beside: tuple[str, ...] = ()

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The name as it stands. Raises click.BadParameter for a file that is read or cannot be written."""
        if value == STANDARD and not self.text:
            self.fail("needs the name of a file; what it writes is no text", param, ctx)
        if not value:
            self.fail("is empty; name a file", param, ctx)
        _take(_Named(value, param, written=True, places=(value, *(value + end for end in self.beside))), ctx)
        if value != STANDARD and not self.folder and (why := _unwritable(value)):
            self.fail(why, param, ctx)
        return value


INPUT = InputFile()


@dataclass(frozen=True)
class _Named:
    """A file on the line, and every place that reading or writing it touches."""

    file: str
    param: click.Parameter | None
    written: bool
    places: tuple[str, ...]

    @property
    def label(self) -> str:
        """What it stands behind on the line: --json, or CASE."""
        if self.param is None:
            return "the lots of CASE"
        return self.param.opts[0] if isinstance(self.param, click.Option) else self.param.human_readable_name


def _take(new: _Named, context: click.Context | None) -> None:
    """Hold a file against those before it on the line. Raises click.BadParameter where one would be lost."""
    before: list[_Named] = [] if context is None else context.meta.setdefault(_ON_THE_LINE, [])
    for earlier in before:
        for one, other in ((new, earlier), (earlier, new)):
            if (why := _standard_twice(one, other) or _loses(one, other)) is not None:
                raise click.BadParameter(why, context, one.param)
    before.append(new)


def _standard_twice(one: _Named, other: _Named) -> str | None:
    if not one.file == other.file == STANDARD or one.written != other.written:
        return None
    if one.written:
        return f"{other.label} - and {one.label} - would mix on standard output; name a file for one"
    return f"standard input is read as {other.label} already; name a file"


def _loses(one: _Named, other: _Named) -> str | None:
    """What there is to say where writing one file would destroy the other."""
    if not one.written or STANDARD in (one.file, other.file):
        return None
    if not any(_within(b, a) for a in one.places for b in other.places):
        return None
    use = "written" if other.written else "read"
    return f"{one.file} is {use} as {other.label}; name another file"


def _within(inner: str, outer: str) -> bool:
    """Whether two names lead to one file, or the first into the folder that the second is."""
    a, b = (os.path.normcase(os.path.realpath(name)) for name in (inner, outer))
    if b == os.path.realpath(os.devnull):
        return False
    return a == b or a.startswith(f"{b}{os.sep}") or _linked(a, b)


def _linked(a: str, b: str) -> bool:
    """Whether two names are hard links to one file."""
    try:
        return os.path.samefile(a, b)
    except (OSError, ValueError):  # one of them is not there, or no file can have that name
        return False


def _unwritable(file: str) -> str | None:
    path = Path(file).absolute()
    try:
        if path.is_dir():
            return f"{file} is a directory"
        if not path.parent.is_dir():
            return f"there is no directory {Path(file).parent}"
    except (OSError, ValueError) as error:
        return f"{file} is no name of a file: {getattr(error, 'strerror', None) or error}"
    return (
        None if os.access(path if path.exists() else path.parent, os.W_OK) else f"{file} may not be written"
    )


def also_read(files: Sequence[str]) -> None:
    """Files that a case named, held against those the line writes. Raises click.BadParameter."""
    for file in files:
        _take(_Named(file, None, written=False, places=(file,)), click.get_current_context(silent=True))


def write(file: str, text: str) -> None:
    """Write ``text`` to a file, or to standard output for "-"."""
    if file == STANDARD:
        click.echo(text)
    else:
        put(file, lambda path: path.write_text(f"{text}\n", encoding="utf-8"))


@contextmanager
def needs(flag: str, extra: str) -> Iterator[None]:
    """Within it, a library that is not installed is told as what ``flag`` needs."""
    try:
        yield
    except ModuleNotFoundError as error:
        raise click.UsageError(f"{flag} needs {error.name}: pip install 'pyrobal[{extra}]'") from None
