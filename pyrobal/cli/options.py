"""The options that commands share, and what they become before a command runs."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from pyrobal.cli import complete
from pyrobal.cli.executor import executor_of
from pyrobal.cli.files import INPUT, OutputFile, also_read
from pyrobal.cli.streams import say

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim

Command = Callable[..., Any]
_NO_TEXT = ("--xlsx",)  # what standard output cannot take

overrides = click.option(
    "--set", "assignments", metavar="KEY=VALUE", multiple=True, shell_complete=complete.assignment,
    help="Set one key, over the case; repeatable.",
)  # fmt: skip
_aims = (
    click.option(
        "--aim", metavar="READING=VALUE", multiple=True, shell_complete=complete.aim,
        help="Solve a setting for this reading; repeatable.",
    ),
    click.option(
        "--by", metavar="SETTING[=LOW:HIGH]", multiple=True, shell_complete=complete.setting,
        help="The setting that solves it, one for each --aim.",
    ),
)  # fmt: skip
_workers = (
    click.option(
        "--workers", type=click.IntRange(1), metavar="N", help="Processes; all cores where the work is large."
    ),
    click.option("--cluster", metavar="ADDRESS", help="Scheduler of a Dask cluster, tcp://HOST:PORT."),
)


def keys(_: click.Context, __: click.Parameter, texts: Sequence[str]) -> list[str]:
    """The keys of a repeated option that may hold several with commas."""
    return [key.strip() for text in texts for key in text.split(",") if key.strip()]


reads = click.option(
    "--read", "readings", metavar="KEY,KEY", multiple=True, required=True, callback=keys,
    shell_complete=complete.readings, help="The readings.",
)  # fmt: skip


def keys_option(flag: str, name: str, text: str) -> Callable[[Command], Command]:
    """An option that takes keys of settings, or how they begin."""
    return click.option(
        flag, name, metavar="KEY,KEY", multiple=True, callback=keys, shell_complete=complete.settings,
        help=text,
    )  # fmt: skip


def limit_option(text: str = "What must hold, <= or >=; repeatable.") -> Callable[[Command], Command]:
    """--limit, with what the command does with it."""
    return click.option(
        "--limit", "limit_texts", metavar="READING<=VALUE", multiple=True, shell_complete=complete.reading,
        help=text,
    )  # fmt: skip


def best_option(metavar: str, text: str, required: bool = False) -> Callable[[Command], Command]:
    """--best, with the goals the command knows."""
    return click.option("--best", metavar=metavar, required=required, shell_complete=complete.goal, help=text)


def file_option(flag: str, text: str) -> Callable[[Command], Command]:
    """A file to write, given to the command as ``json_file`` for --json."""
    name = f"{flag.lstrip('-')}_file"
    kind = OutputFile(text=flag not in _NO_TEXT)
    return click.option(flag, name, metavar="FILE", type=kind, help=text)


def input_option(flag: str, metavar: str, text: str) -> Callable[[Command], Command]:
    """A file to read, besides the case."""
    return click.option(flag, metavar=metavar, type=INPUT, help=text)


def with_options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Several options as one decorator, in this order on the help page."""

    def decorate(function: Command) -> Command:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


case_argument = click.argument("case", type=INPUT)
aims = with_options(*_aims)


def load(case: str, assignments: Sequence[str] = ()) -> Case:
    """The case in a file; no output of the line may fall on a file that the case names."""
    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)
    also_read(loaded.beside)
    return loaded


def on_case(command: Command) -> Command:
    """CASE and --set: the command is given the case they make."""

    @functools.wraps(command)
    def run(case: str, assignments: tuple[str, ...], **others: Any) -> Any:
        return command(load(case, assignments), **others)

    return with_options(case_argument, overrides)(run)


def study(command: Command) -> Command:
    """CASE, --aim, --by and --set: the command is given the case and what is aimed at in it."""

    @functools.wraps(command)
    def run(case: Case, aim: tuple[str, ...], by: tuple[str, ...], **others: Any) -> Any:
        return command(case, aim=aim_of(case, aim, by), **others)

    return aims(on_case(run))


def on_workers(command: Command) -> Command:
    """--workers and --cluster: the command gets ``executors``, to call with a count of parts."""

    @functools.wraps(command)
    def run(*arguments: Any, workers: int | None, cluster: str | None, **others: Any) -> Any:
        return command(*arguments, executors=functools.partial(executor_of, workers, cluster), **others)

    return with_options(*_workers)(run)


def aim_of(case: Case, aim: Sequence[str], by: Sequence[str]) -> Aim | None:
    """What --aim and --by ask for, pair by pair. Raises click.UsageError where one lacks the other."""
    if bool(aim) != bool(by):
        raise click.UsageError("--aim READING=VALUE and --by SETTING go together")
    if not aim:
        return None
    from pyrobal.studies.aim import aiming

    return aiming(case, aim, by)


def aimed_case(case: Case, aim: Sequence[str], by: Sequence[str]) -> Case:
    """The case with the settings that meet the aim; as it is where there is none."""
    meant = aim_of(case, aim, by)
    if meant is None:
        return case
    from pyrobal.studies.aim import aimed, stretches

    solved = aimed(case, meant)
    for text, target in zip(aim, meant.targets, strict=True):
        value = target.by.value(solved.inputs)
        assert value is not None  # it has just been set
        say(f"{text} by {target.by.key} = {target.by.text(float(value[0]), digits=7)}")
    for said in stretches(case, meant):
        say(said)
    return solved


def pairs(option: str, texts: Sequence[str]) -> dict[str, str]:
    """KEY=... options by key. Raises click.UsageError for one without an equals sign."""
    found: dict[str, str] = {}
    for text in texts:
        key, equals, rest = text.partition("=")
        if not equals or not key.strip():
            raise click.UsageError(f'{option}: "{text}" is not KEY=...')
        if key.strip() in found:
            raise click.UsageError(f"{option}: {key.strip()} is given twice")
        found[key.strip()] = rest.strip()
    return found
