"""The options --aim and --by, which any command that solves a case may take."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim

aims = (
    click.option("--aim", metavar="READING=VALUE", help="Solve a setting for this reading."),
    click.option("--by", metavar="SETTING[=LOW:HIGH]", help="The setting that --aim solves."),
)


def aim_of(case: Case, aim: str | None, by: str | None) -> Aim | None:
    """What the two options ask for. Raises click.UsageError where one lacks the other."""
    if (aim is None) != (by is None):
        raise click.UsageError("--aim READING=VALUE and --by SETTING go together")
    if aim is None or by is None:
        return None
    from pyrobal.studies.aim import aiming

    return aiming(case, aim, by)


def aimed_case(case: Case, aim: str | None, by: str | None) -> Case:
    """The case with the setting that meets the aim; as it is where there is none."""
    meant = aim_of(case, aim, by)
    if meant is None:
        return case
    from pyrobal.studies.aim import aimed

    solved = aimed(case, meant)
    value = meant.by.value(solved.inputs)
    assert value is not None  # it has just been set
    click.echo(f"{aim} by {meant.by.key} = {meant.by.text(float(value[0]), digits=7)}", err=True)
    return solved
