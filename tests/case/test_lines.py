"""The line of every key, against documents whose layout is known because the test wrote it."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pyrobal.case.lines import Path, key_lines

DOCUMENT = '''# c
title = "a # b"  # c
a.b . "c.d" = 1
[x]
k = """
multi [[no]] = {
"quoted" \\""" still in
""" # [z]
lit = \'\'\'
y = 1 \'\'\'
arr = [ 1, # hi
  [2, 3],
 {q = 1, r = [1]},
]
d = 1979-05-27 07:32:00
empty = {}
[[conc]]
name="A"
[conc.assay]
Cu = 1
[[conc]]
name='B # x'
[conc.assay]
Cu = 1
[conc."odd key".z]
"" = 2
'''


def test_every_construct() -> None:
    lines = key_lines(DOCUMENT)
    assert set(paths(tomllib.loads(DOCUMENT))) == set(lines)
    expected = {
        ("title",): 2,
        ("a", "b", "c.d"): 3,
        ("x", "k"): 5,
        ("x", "lit"): 9,
        ("x", "arr"): 11,
        ("x", "arr", 0): 11,
        ("x", "arr", 1): 12,
        ("x", "arr", 1, 1): 12,
        ("x", "arr", 2, "r", 0): 13,
        ("x", "d"): 15,
        ("conc", 0): 17,
        ("conc", 0, "assay", "Cu"): 20,
        ("conc", 1, "name"): 22,
        ("conc", 1, "odd key", "z", ""): 26,
    }
    assert {path: lines[path] for path in expected} == expected


def test_line_ends_of_every_kind() -> None:
    assert key_lines("a = 1\r\n\r\n[b]\r\nc = 2\r\n") == {("a",): 1, ("b",): 3, ("b", "c"): 4}


def paths(node: Any, path: Path = ()) -> list[Path]:
    found: list[Path] = [path] if path else []
    if isinstance(node, dict):
        for key, value in node.items():
            found += paths(value, (*path, key))
    elif isinstance(node, list):
        for i, value in enumerate(node):
            found += paths(value, (*path, i))
    return found


KEYS = st.text("ab .#=[]\"'é", min_size=1, max_size=4)
SCALARS = st.sampled_from(
    ['"x # [y] = 1"', "'''\n]\n'''", '"""\n\\"\n"""', "1.5e3", "true", "2024-05-01 10:00:00"]
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: f"[ {', '.join(items)} ]")
        | st.lists(inner, max_size=3).map(lambda items: "[\n" + ",  # c\n".join(items) + "\n]")
        | st.dictionaries(KEYS, inner, max_size=2).map(
            lambda table: "{" + ", ".join(f"{quoted(k)} = {v}" for k, v in table.items()) + "}"
        )
    ),
    max_leaves=6,
)


def quoted(key: str) -> str:
    return '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'


@given(st.lists(st.tuples(KEYS, st.dictionaries(KEYS, VALUES, max_size=3)), max_size=5), st.integers(0, 3))
@settings(max_examples=150, deadline=None)
def test_finds_the_line_that_was_written(tables: list[tuple[str, dict[str, str]]], blank: int) -> None:
    """A document of arrays of tables, written line by line, with the line of each key noted on the way."""
    text, wanted, counts = "", {}, dict[str, int]()
    for name, table in tables:
        text += "\n" * blank + f"[[ {quoted(name)} ]] # header\n"
        index = counts[name] = counts.get(name, -1) + 1
        wanted[(name, index)] = text.count("\n")
        for key, value in table.items():
            wanted[(name, index, key)] = text.count("\n") + 1
            text += f"{quoted(key)} = {value}  # [no]\n"
    lines = key_lines(text)
    assert {path: lines.get(path) for path in wanted} == wanted
    assert set(paths(tomllib.loads(text))) == set(lines)
