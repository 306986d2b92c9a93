"""From a file, standard input or text to plain values, each with the place where it was written.

A line that is not TOML is reported and set aside where that is safe, so that one slip does not hide the
others.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
from pathlib import Path as FilePath
from typing import Any, Final

from pyrobal.case.document import Document
from pyrobal.errors import CaseError, Fault
from pyrobal.names import foreign, shortened

MOST_BYTES: Final = 1_000_000  # thousands of concentrates; a case is a few kilobytes
MOST_DEPTH: Final = 10  # tables within tables; a case needs four
MOST_SLIPS: Final = 50  # lines set aside before giving up


def read(source: str | FilePath) -> Document:
    """The document at a path, on standard input ("-"), or in a text of more than one line.

    A path that ends in .xlsx is a workbook (``case.workbook``).
    Raises CaseError where there is nothing to read values from.
    """
    if isinstance(source, str) and "\n" in source:
        return _document("text", source)
    file = str(source)
    if file.lower().endswith(".xlsx"):
        from pyrobal.case.workbook import read_workbook  # its library is not needed otherwise

        return read_workbook(file)
    return _document(file, _decode(file, _bytes(file)))


def _bytes(file: str) -> bytes:
    try:
        if file == "-":
            if sys.stdin is None:
                raise _refusal(file, "standard input is closed")
            content: bytes = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            with open(file, "rb") as stream:
                content = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise _refusal(file, "there is no such file") from None
    except IsADirectoryError:
        raise _refusal(file, "is a directory; a case file is needed") from None
    except (OSError, ValueError, AttributeError) as error:
        raise _refusal(file, f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(content) > MOST_BYTES:
        raise _refusal(file, f"is larger than {MOST_BYTES // 1000} kB; a case file is a few kB")
    return content


def _decode(file: str, content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refusal(file, "is UTF-16 text; save it as UTF-8")
    if content.startswith(b"PK\x03\x04"):
        raise _refusal(file, "is a zip archive or a spreadsheet; a case file is TOML text")
    if b"\0" in content:
        raise _refusal(file, "is a binary file; a case file is TOML text")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = content[error.start]
        raise _refusal(file, f"byte 0x{found:02x} is not UTF-8; save the file as UTF-8", line) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")  # whatever ends a line there


def _document(file: str, text: str) -> Document:
    if not re.sub(r"#.*", "", text).strip():
        raise _refusal(file, "the case is empty; it needs at least one [[concentrate]] with an assay")
    lines = text.split("\n")
    slips: dict[int, Fault] = {}  # by line, one each
    while True:
        readable = "\n".join(lines)
        try:
            values = tomllib.loads(readable)
        except RecursionError:
            raise _too_deep(file) from None
        except tomllib.TOMLDecodeError as error:
            slip = _slip(file, lines, str(error))
            at = slip.line or 1
            mended = "" if at in slips else _set_aside(lines[at - 1], str(error))
            slips.setdefault(at, slip)
            if mended is None or mended == lines[at - 1] or len(slips) >= MOST_SLIPS:
                raise CaseError(list(slips.values())) from None
            lines[at - 1] = mended
        else:
            if _depth(values) > MOST_DEPTH:
                raise _too_deep(file)
            return Document(file, text, values, readable, tuple(slips.values()))


def _refusal(file: str, text: str, line: int | None = None) -> CaseError:
    return CaseError([Fault(file, line, "", text)])


def _too_deep(file: str) -> CaseError:
    return _refusal(file, f"tables or arrays are nested more than {MOST_DEPTH} deep")


def _depth(values: dict[str, Any]) -> int:
    depth, level = 0, list(values.values())
    while level := [v for v in level if isinstance(v, dict | list)]:
        depth += 1
        level = [x for v in level for x in (v.values() if isinstance(v, dict) else v)]
    return depth


_PAIR: Final = re.compile(r"""\s*(?P<key>[\w\-."' ]+?)\s*=\s*(?P<value>[^#]*?)\s*(?:\#.*)?$""")
_UNCLOSED: Final = re.compile(r"Unclosed|Unterminated|^Expected .'|^Expected '\"")
_OPENING: Final = re.compile(r"""=\s*(?:[\[{]|\"{3}|'{3})""")
_TABLE: Final = re.compile(r"\s*\[+\s*(?P<key>[^\]]*?)\s*\]+")


def _slip(file: str, lines: list[str], message: str) -> Fault:
    """What is wrong with the first line that the parser cannot read, said for people."""
    at = _line_of(message, lines)
    return Fault(file, at, _key_at(lines, at), _sentence(message, lines[at - 1]))


def _line_of(message: str, lines: list[str]) -> int:
    """Where the fault was made: of something never closed, the line that opened it last."""
    match = re.search(r"at line (\d+)", message)
    reached = min(int(match[1]), len(lines)) if match else len(lines)
    wanted = _OPENING if _UNCLOSED.search(message) else re.compile(r"\S")
    return max((i for i, line in enumerate(lines[:reached], 1) if wanted.search(line)), default=reached)


def _key_at(lines: list[str], at: int) -> str:
    pair, table = _PAIR.match(lines[at - 1]), None
    for line in reversed(lines[:at]):
        if table := _TABLE.match(line):
            break
    return ".".join(m["key"] for m in (table, pair) if m)


def _sentence(message: str, line: str) -> str:
    pair = _PAIR.match(line)
    value = pair["value"] if pair else ""
    if said := _of_letters(message, pair["key"] if pair else ""):
        return said
    if _UNCLOSED.search(message):
        return "a bracket or a quote that opens here is never closed"
    if "Cannot overwrite" in message:
        return "is given twice"
    if "Cannot declare" in message or "Cannot mutate" in message:
        return "this table is given twice"
    if pair and not value:
        return "has no value"
    if re.match(r"""["']""", value):
        return f"the text {value[:60]} is not between two quotes of one kind"
    if pair and re.fullmatch(r"[+-]?\d+[,'\s]\d+.*", value):
        return f"{shortened(value)}: write a decimal point and no thousands mark"
    if pair and re.match(r"[+-]?[\d.]", value):
        return f'a number with a unit stands in quotes: "{value}"'
    if pair and re.fullmatch(r"[^\[\]{}]+", value):
        return f'a word stands in quotes: "{value}"'
    return f"is not TOML: {_plain(message)}"


def _of_letters(message: str, key: str) -> str:
    """What there is to say of a letter that may not stand where it does."""
    hidden = re.search(r"Illegal character '(.+?)' \(at", message)
    if hidden and hidden[1] != r"\n":  # of a quote that is left open
        name = " (escape, which steers a terminal)" if hidden[1] == r"\x1b" else ""
        return f"holds the control character {hidden[1]}{name}; delete it"
    if not key.isascii() and key[:1] not in "\"'":
        return f"{foreign(key)}a key with letters other than A to Z stands in quotes"
    return ""


def _plain(message: str) -> str:
    said = re.sub(r" \(at .*\)$", "", message)
    return said[:1].lower() + said[1:]


def _set_aside(line: str, message: str) -> str | None:
    """The line made harmless: its value as a string, or nothing at all; None where others hang on it."""
    pair = _PAIR.match(line)
    if line.lstrip().startswith("[") or _UNCLOSED.search(message):
        return None
    if pair is None or "Cannot" in message or pair["value"][:1] in ("[", "{"):
        return ""
    return f"{pair['key']} = {json.dumps(pair['value'].strip(chr(34) + chr(39)))}"
