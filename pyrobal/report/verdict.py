"""The answer in one sentence, the figures asked for first, and how much of each limit is used.

Made once as data; the page and whatever else shows a result dress it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from pyrobal import units
from pyrobal.readings.limits import limits
from pyrobal.report.labels import label as label_of
from pyrobal.report.numbers import number, quantity
from pyrobal.report.result import INFEASIBLE, Line, Result
from pyrobal.report.tables import plain

_DIGITS: Final = 3
_NOTHING: Final = 5e-3  # MW: less is no fuel and no surplus

# What each of those who read a balance looks for, the planner, the metallurgist, those who answer for what
# leaves: label and reading, of which the first there is is shown.
_FIRST: Final = (
    (("cathode", "electrorefining.cathode.rate"), ("anodes", "anode.rate"),
     ("blister", "converting.blister.rate"), ("matte", "smelting.matte.rate")),
    (("copper recovered", "recovery.Cu"),),
    (("copper in matte", "smelting.matte.grade"),),
    (("industrial oxygen", "plant.oxygen"), ("industrial oxygen", "smelting.oxygen.industrial")),
    (("copper in discard slag", "slag_cleaning.slag.copper"), ("copper in slag", "smelting.slag.copper")),
    (("SO2 emitted", "emissions.so2"), ("SO2 in furnace gas", "smelting.gas.so2_load")),
    (("acid, as 100 %", "acid.production"),),
    (("SO2 converted", "acid.conversion"),),
    (("SO2 at the inlet", "acid.inlet_so2"),),
    (("gas at the inlet", "acid.inlet_flow"),),
    (("SO2 in the tail gas", "acid.tail.so2"),),
)  # fmt: skip
# What the plant is told by in one sentence: reading, its words; and what is said of it in brackets.
_Told = tuple[tuple[str, str, str, str], ...]
_TAKES: Final[_Told] = (
    ("feed.dry_rate", "of dry concentrate", "feed.assay.Cu", "Cu"),
    ("acid.inlet_flow", "of gas", "acid.inlet_so2", "SO2"),
)
_MAKES: Final[_Told] = (
    ("electrorefining.cathode.rate", "of cathode", "electrorefining.cathode.copper", "Cu"),
    ("anode.rate", "of anodes", "anode.copper", "Cu"),
    ("converting.blister.rate", "of blister", "converting.blister.copper", "Cu"),
    ("smelting.matte.rate", "of matte", "smelting.matte.grade", "Cu"),
)
_ACID: Final[_Told] = (("acid.production", "of sulfuric acid", "", ""),)
_SLAG: Final[_Told] = (
    ("slag_cleaning.slag.rate", "of discard slag", "slag_cleaning.slag.copper", "Cu"),
    ("smelting.slag.rate", "of slag", "smelting.slag.copper", "Cu"),
)
_SO2: Final[_Told] = (
    ("emissions.so2", "of SO2", "emissions.sulfur_capture", "of the sulfur is captured"),
    ("smelting.gas.flow_wet", "of gas", "smelting.gas.so2", "SO2"),
    ("acid.tail.flow", "of tail gas", "acid.tail.so2", "SO2"),
)
_MOST: Final = 6


@dataclass(frozen=True)
class Use:
    """A limit and how much of it is used.

    name : as people say it; share : [%] of the bound, nan where the reading has no value
    said : the reading and its bound; broken : whether it lies beyond
    line : the reading; bound : in its unit, at most or at least as ``upper`` says
    """

    name: str
    share: float
    said: str
    broken: bool
    line: Line
    bound: float
    upper: bool


def uses(result: Result) -> list[Use]:
    """Every limit of a single case, the most used first."""
    lines, found = result.by_key, []
    for name, limit in limits(result.case.inputs).items():
        line, use = lines.get(limit.reading), lines.get(f"limit.{name}.use")
        if line is None or use is None:
            continue
        bound = float(units.display(float(limit.bound[0]), line.unit))
        value = "" if math.isnan(line.value) else f"{quantity(line.shown, line.unit, _DIGITS)}, "
        said = f"{value}{'at most' if limit.upper else 'at least'} {quantity(bound, line.unit, _DIGITS)}"
        label = plain(name if limit.own else label_of(name.rpartition(".")[2]))
        broken = bool(use.value > 100.0 * (1 + 1e-9))
        found.append(Use(label, use.value, said, broken, line, bound, limit.upper))
    return sorted(found, key=lambda use: -use.share if use.share == use.share else math.inf)


def first_figures(result: Result) -> list[tuple[str, Line]]:
    """The six readings asked for first, with what people call them."""
    there = [[(label, line) for label, key in one if (line := _answered(result, key))] for one in _FIRST]
    return [found[0] for found in there if found][:_MOST]


def _answered(result: Result, key: str) -> Line | None:
    """A reading; None where the case has none or it has no value."""
    line = result.by_key.get(key)
    return None if line is None or math.isnan(line.value) else line


def purpose(result: Result) -> str:
    """What the plant makes of what, and what leaves it, as far as there is an answer."""
    feed, metal, acid, slag, so2 = (_told(result, one) for one in (_TAKES, _MAKES, _ACID, _SLAG, _SO2))
    made, left = " and ".join(filter(None, (metal, acid))), " and ".join(filter(None, (slag, so2)))
    if not (feed and made):
        return ""
    return f"Makes {made} from {feed}; {left} leave the plant." if left else f"Makes {made} from {feed}."


def _told(result: Result, told: _Told) -> str:
    """The first of the readings that has a value, with what is said of it."""
    for key, words, beside, behind in told:
        if (first := _answered(result, key)) is not None:
            said = f"{quantity(first.shown, first.unit, _DIGITS)} {words}"
            line = _answered(result, beside)
            return said if line is None else f"{said} ({quantity(line.shown, line.unit, _DIGITS)} {behind})"
    return ""


def verdict(result: Result) -> str:
    """Whether there is a balance, how the furnace's heat closes, and what limits the plant."""
    if result.status == INFEASIBLE:
        why = next((message.text for message in result.messages if message.level == "limit"), "no balance")
        return f"No solution: {plain(why)}."
    cautions = sum(message.level == "caution" for message in result.messages)
    told = {0: "", 1: "; one caution"}.get(cautions, f"; {cautions} cautions")
    return f"{_heat(result)}; {_limit(result)}{told}."


def _heat(result: Result) -> str:
    lines = result.by_key
    if "smelting.enrichment" not in lines:  # the acid plant alone, on a stated gas
        return f"The acid plant converts {number(lines['acid.conversion'].shown, _DIGITS)} % of its SO2"
    fuel, surplus = lines["smelting.fuel_heat"].shown, lines["smelting.heat.surplus"].shown
    rich = f"{number(lines['smelting.enrichment'].shown, _DIGITS)} vol% O2"
    alone = lines["smelting.heat.autogenous_enrichment"].shown
    at = "" if math.isnan(alone) else f" (autogenous at {number(alone, _DIGITS)} vol%)"
    if fuel > _NOTHING:
        return f"The furnace burns {number(fuel, _DIGITS)} MW of fuel at {rich}{at}"
    if surplus > _NOTHING:
        return f"The furnace has a surplus of {number(surplus, _DIGITS)} MW at {rich}{at}"
    if surplus < -_NOTHING:
        return f"The furnace is short of {number(-surplus, _DIGITS)} MW at {rich}{at}"
    return f"The furnace is autogenous at {rich}"


def _limit(result: Result) -> str:
    found = uses(result)
    broken = [use for use in found if use.broken]
    if broken:
        return (
            f"beyond its limit: {', '.join(f'{use.name} ({number(use.share, _DIGITS)} %)' for use in broken)}"
        )
    if found and found[0].share == found[0].share:
        return f"within all limits, {found[0].name} the closest at {number(found[0].share, _DIGITS)} %"
    return "no limit is set"
