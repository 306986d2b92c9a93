"""On which line each key of a TOML document stands; the parser of the standard library does not say.

The text is known to be valid TOML, so a flat list of tokens and a short descent are enough.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

Path = tuple[str | int, ...]

_MARKS: Final = frozenset("[]{}=,")
_TOKEN: Final = re.compile(
    r"""
    (?P<string> \"{3} (?:[^\\]|\\.)*? \"{3} \"{0,2} | '{3} .*? '{3} '{0,2}
              | "(?:[^"\\\n]|\\.)*" | '[^'\n]*' )
  | (?P<comment> \#[^\n]* )
  | (?P<mark> [\[\]{}=,] )
  | (?P<bare> [^\s"'\#\[\]{}=,]+ )
    """,
    re.VERBOSE | re.DOTALL,
)


@dataclass(frozen=True)
class _Token:
    text: str
    line: int
    quoted: bool


def key_lines(text: str) -> dict[Path, int]:
    """Path of every table, item of an array and key in ``text`` -> its 1-based line, where first named."""
    return _Scanner(text).document()


def _tokens(text: str) -> Iterator[_Token]:
    line, at = 1, 0
    for match in _TOKEN.finditer(text):
        line += text.count("\n", at, match.start())
        at = match.start()
        if match.lastgroup != "comment":
            yield _Token(match.group(), line, match.lastgroup == "string")


def _parts(tokens: list[_Token]) -> tuple[str, ...]:
    parts: list[str] = []
    for token in tokens:
        if token.quoted:
            parts.append(tomllib.loads(f"key = {token.text}")["key"])
        else:
            parts.extend(part for part in token.text.split(".") if part)
    return tuple(parts)


class _Scanner:
    def __init__(self, text: str) -> None:
        self.tokens = list(_tokens(text.replace("\r\n", "\n")))
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.items: dict[Path, int] = {}  # array of tables -> items so far

    def document(self) -> dict[Path, int]:
        table: Path = ()
        while self.at < len(self.tokens):
            if self._is("["):
                table = self._header()
            else:
                self._pair(table)
        return self.lines

    def _header(self) -> Path:
        line, depth = self.tokens[self.at].line, 0
        while self._is("["):
            self.at, depth = self.at + 1, depth + 1
        parts = self._key("]")
        self.at += depth
        path: Path = ()
        for part in parts[:-1]:
            path = self._latest((*path, part), line)
        path = (*path, parts[-1])
        if depth == 1:
            return self._latest(path, line)
        self.items[path] = self.items.get(path, -1) + 1
        self.lines.setdefault(path, line)
        return self._latest(path, line)

    def _latest(self, path: Path, line: int) -> Path:
        """The table meant by a header: of an array of tables, its latest item."""
        if path in self.items:
            path = (*path, self.items[path])
        self.lines.setdefault(path, line)
        return path

    def _pair(self, table: Path) -> None:
        line, path = self.tokens[self.at].line, table
        for part in self._key("="):
            path = (*path, part)
            self.lines.setdefault(path, line)
        self.at += 1
        self._value(path)

    def _key(self, end: str) -> tuple[str, ...]:
        start = self.at
        while not self._is(end):
            self.at += 1
        return _parts(self.tokens[start : self.at])

    def _value(self, path: Path) -> None:
        if self._is("["):
            self._array(path)
        elif self._is("{"):
            self._until("}", lambda _: self._pair(path))
        else:
            self._scalar()

    def _array(self, path: Path) -> None:
        def item(index: int) -> None:
            self.lines.setdefault((*path, index), self.tokens[self.at].line)
            self._value((*path, index))

        self._until("]", item)

    def _until(self, end: str, read: Callable[[int], None]) -> None:
        """Read the comma-separated items of an array or inline table, whose opening mark is next."""
        self.at, index = self.at + 1, 0
        while not self._is(end):
            if self._is(","):
                self.at, index = self.at + 1, index + 1
            else:
                read(index)
        self.at += 1

    def _scalar(self) -> None:
        """One string, or the bare words of one line: a date and its time are two."""
        first = self.tokens[self.at]
        self.at += 1
        while not first.quoted and self.at < len(self.tokens) and self._continues(first.line):
            self.at += 1

    def _continues(self, line: int) -> bool:
        token = self.tokens[self.at]
        return token.line == line and not token.quoted and token.text not in _MARKS

    def _is(self, mark: str) -> bool:
        return self.tokens[self.at].text == mark
