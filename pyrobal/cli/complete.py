"""What the shell offers at the cursor: keys of settings and readings, names of substances.

The keys are those of the registry and of the case on the line, as far as it can be read. A completion says
nothing where it knows nothing, and never fails.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

if TYPE_CHECKING:
    from pyrobal.case.load import Case

Offer = Callable[[click.Context, click.Parameter, str], list[str]]
_FAMILY = "<"  # where the part of a key begins that depends on the case


def _offered(words: Callable[[click.Context, str], Iterable[str]]) -> Offer:
    """Those words that go on from what is written; none where the line is not yet worth reading."""

    @functools.wraps(words)
    def offer(context: click.Context, _: click.Parameter, written: str) -> list[str]:
        try:
            return [word for word in dict.fromkeys(words(context, written)) if word.startswith(written)]
        except Exception:  # a shell has no place to show one
            return []

    return offer


def _listed(words: Callable[[click.Context, str], Iterable[str]]) -> Offer:
    """The same for the last key of several with commas."""

    def all_of(context: click.Context, written: str) -> Iterable[str]:
        before, comma, last = written.rpartition(",")
        return (f"{before}{comma}{word}" for word in words(context, last))

    return _offered(all_of)


def _case(context: click.Context) -> Case | None:
    """The case on the line; None where there is none yet, or it has faults. Standard input is left alone."""
    from pyrobal.case.load import load_case
    from pyrobal.errors import PyrobalError

    given = context.params
    words = (
        given.get("case"),
        given.get("after"),
        *context.args,
    )  # args where an option still lacks its value
    file = next(filter(None, words), None)
    if not file or file == "-":
        return None
    try:
        return load_case(file, given.get("assignments") or ())
    except (OSError, PyrobalError):
        return None


def _numbers(context: click.Context, _: str) -> Iterable[str]:
    """Settings that hold a number."""
    from pyrobal.studies.variable import variables

    case = _case(context)
    return variables(case.inputs) if case else _settings(context, _)


def _settings(context: click.Context, _: str) -> Iterable[str]:
    """Every setting; of a table whose names the user chooses, as far as it goes without a case."""
    from pyrobal.case.registry import matching

    keys = [setting.key for setting in matching("")]
    case = _case(context)
    if case is None:
        return (key.partition(_FAMILY)[0] for key in keys)
    from pyrobal.case.schema import tables, written
    from pyrobal.studies.variable import variables

    words = (f"{table}.{name}" for table, node in tables(case.inputs) for name in written(type(node)))
    return [*variables(case.inputs), *words, *(key for key in keys if _FAMILY not in key)]


def _readings(context: click.Context, written: str) -> Iterable[str]:
    """Every reading; the members of a family once its name is written, from the balance of the case."""
    from pyrobal.readings import registry

    known = registry.readings()
    heads = [r.key.partition(_FAMILY)[0] for r in known]
    inside = any(_FAMILY in r.key and written.startswith(head) for r, head in zip(known, heads, strict=True))
    case = _case(context) if inside else None
    if case is None:
        return heads
    from pyrobal.flowsheet.solve import solve

    return registry.keys(solve(case.inputs))


def _goals(context: click.Context, written: str) -> Iterable[str]:
    before, colon, key = written.rpartition(":")
    if colon:
        return (f"{before}:{word}" for word in _readings(context, key))
    return ("max:", "min:", *(("margin", "copper") if "terms" in context.params else ()))


def _sections(_: click.Context, __: str) -> Iterable[str]:
    from pyrobal.readings.registry import readings
    from pyrobal.report.sections import OWN
    from pyrobal.report.tables import section

    return (*(section(r.key) for r in readings()), *OWN, "all")


def _substances(_: click.Context, __: str) -> Iterable[str]:
    from pyrobal.thermo.tables import load_substances

    return load_substances()


def _with_equals(words: Callable[[click.Context, str], Iterable[str]]) -> Offer:
    """An equals sign after each that is whole."""
    return _offered(
        lambda context, written: (w if w.endswith(".") else f"{w}=" for w in words(context, written))
    )


def _keys(context: click.Context, written: str) -> Iterable[str]:
    return (*_readings(context, written), *_settings(context, written))


key = _offered(_keys)
assignment = _with_equals(_settings)
span = _with_equals(_numbers)
setting = _offered(_numbers)
settings = _listed(_numbers)
every_setting = _offered(_settings)
aim = _with_equals(_readings)
reading = _offered(_readings)
readings = _listed(_readings)
goal = _offered(_goals)
sections = _listed(_sections)
substance = _offered(_substances)


class Bash(BashComplete):
    """The shell breaks words at = and : and puts a blank after each; keys here go on over both."""

    source_template = BashComplete.source_template.replace(
        "COMPREPLY+=($value)",
        r"""[[ $value == *[=:.] ]] && compopt -o nospace
            [[ ${COMP_WORDS[COMP_CWORD]} == [\"\']* ]] || value=$(printf '%%q' "$value")
            COMPREPLY+=("$value")""",
    )

    def get_completion_args(self) -> tuple[list[str], str]:
        """The words before the cursor, and the one under it, put together again."""
        words, last = super().get_completion_args()
        whole: list[str] = []
        for word in [*words, last]:
            joins = whole and (word in _BREAKS or whole[-1].endswith(_BREAKS))
            whole[-1:] = [whole[-1] + word] if joins else [*whole[-1:], word]
        return whole[:-1], whole[-1]

    def format_completion(self, item: CompletionItem) -> str:
        """Only what comes after the last break, which is all that the shell puts in place."""
        written = self.get_completion_args()[1]
        if written.startswith("--"):
            written = written.partition("=")[2]
        cut = max(written.rfind(mark) for mark in _BREAKS) + 1
        return super().format_completion(CompletionItem(item.value[cut:], item.type, item.help))


_BREAKS = ("=", ":")
add_completion_class(Bash)
