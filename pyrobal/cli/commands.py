"""The group and its commands. Each imports what it needs when it runs, so that help is immediate."""

from __future__ import annotations

import click

from pyrobal import __version__
from pyrobal.cli.balance import balance, check
from pyrobal.cli.blend import blend
from pyrobal.cli.compare import compare
from pyrobal.cli.explain import explain
from pyrobal.cli.live import live
from pyrobal.cli.new import new
from pyrobal.cli.optimise import optimise
from pyrobal.cli.plan import plan
from pyrobal.cli.reconcile import reconcile
from pyrobal.cli.registry import readings, settings
from pyrobal.cli.sensitivity import sensitivity
from pyrobal.cli.substance import substance
from pyrobal.cli.sweep import sweep
from pyrobal.cli.uncertainty import uncertainty
from pyrobal.cli.window import window

GREETING = """\
pyrobal works out the heat and mass balance of a copper smelter from the assays of its blend:
oxygen, flux, matte, slag, off-gas, SO2 and heat, each number traced to its equation and inputs.
Run the demo case:    pyrobal balance cases/skerry_point.toml
A case of your own:   pyrobal new my_plant.toml
All commands:         pyrobal --help"""


class _Group(click.Group):
    """Commands with the whole of their first sentence, on as many lines as it takes."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, command.get_short_help_str(limit=1000)) for name, command in self.commands.items()]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(
    cls=_Group, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, message="%(prog)s %(version)s")
@click.pass_context
def pyrobal(context: click.Context) -> None:
    """Heat and mass balance of a copper smelter and converter.

    CASE is a TOML file, or - for standard input. Results are for planning and study; operating limits,
    molten metal, oxygen, SO2 and acid stay under your local codes and licensed practice.
    """
    if context.invoked_subcommand is None:
        click.echo(GREETING)


STUDIES = (sweep, window, sensitivity, uncertainty, optimise, blend, plan, reconcile)
for command in (balance, live, check, new, compare, explain, settings, readings, substance, *STUDIES):
    pyrobal.add_command(command)
