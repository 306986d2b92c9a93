"""Readings of what leaves to the air. Nm3 : 0 degC and 101.325 kPa; concentrations are of dry gas."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, IntN, total
from pyrobal.dimensions import constant
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.plant.emissions import AVERAGING_TIMES, KINDS, METALS, EmissionsResult, Stack, yearly
from pyrobal.readings.reading import ROUND_OFF, Reading
from pyrobal.thermo.acid_solution import M_SO2
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species

_AIRS = ("blast", "leak", "leakage", "air")  # last word of an input that is air: its CO2 is not ours
_CO2_MASS = constant(float(species("CO2(g)").molar_mass[0]), "kg/mol", "atomic masses")
# How a kind is told: what it is, and the unit of it for each tonne of copper.
_TOLD: dict[str, tuple[str, str]] = {
    "so2": ("SO2", "kg/t"),
    "mist": ("SO3 and acid mist, as H2SO4", "g/t"),
    "dust": ("dust, with vapours that are solid when the gas is cold", "g/t"),
    **{metal: (f"{metal}, in all forms", "g/t") for metal in METALS},
}


def emissions(r: Results) -> EmissionsResult:
    """The emissions of a case that asks for them."""
    assert r.emissions is not None
    return r.emissions


def kinds(r: Results) -> list[str]:
    """What a case can be held to account for: metals only where the feed holds them."""
    fed = r.ledger.elements_in()
    return [k for k in KINDS if k not in METALS or (fed[:, ELEMENTS.index(k)] > 0).any()]


@dataclass(frozen=True)
class _OfKind(Reading):
    """A reading of one kind of matter, which only some feeds bring."""

    kind: str = "so2"
    needs: str = "emissions"

    def present(self, results: Results) -> bool:
        return super().present(results) and self.kind in kinds(results)


def _of(compute: Callable[[EmissionsResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(emissions(r))


def _stacks(r: Results) -> list[str]:
    return list(emissions(r).stacks)


def _stack(compute: Callable[[Stack], FloatN]) -> Callable[[Results, str], FloatN]:
    return lambda r, name: compute(emissions(r).stacks[name])


def _sources(r: Results) -> list[str]:
    return list(emissions(r).sources)


def _kind(kind: str) -> Iterator[Reading]:
    """The readings of one kind: of the site, for each tonne of copper, by source and in each stack."""
    told, per_tonne = _TOLD[kind]
    reading = functools.partial(_OfKind, kind=kind)
    yield reading(f"emissions.{kind}", "kg/h", f"{told}, from all stacks and past the hoods",
                  _of(lambda e: e.rate(kind)))  # fmt: skip
    yield reading(f"emissions.{kind}_per_t_cu", per_tonne, "the same per tonne of copper",
                  _of(lambda e: e.rate(kind) / e.copper))  # fmt: skip
    yield reading(f"emissions.{kind}_from.<X>", "kg/h", f"{told}, from a stack, or past the hoods (fugitive)",
                  lambda r, source: emissions(r).sources[source].rate(kind), _sources)  # fmt: skip
    yield reading(f"emissions.stack.<X>.{kind}", "mg/Nm3", f"{told}, in a stack, dry, oxygen as measured",
                  _stack(lambda x: x.measured(kind)), _stacks)  # fmt: skip


def _stated(r: Results, member: str) -> FloatN:
    stack, _, kind = member.rpartition(".")
    return emissions(r).stacks[stack].concentration(kind)


def _stated_members(r: Results) -> Sequence[str]:
    return [f"{stack}.{kind}" for stack in _stacks(r) for kind in kinds(r)]


def _carbon(r: Results) -> dict[str, FloatN]:
    """(N,) [mol/s] by what brings it: fuels, reductants, carbonates; the CO2 of air is not ours."""
    found: dict[str, FloatN] = {}
    for name, entry in r.ledger.inputs.items():
        step, _, item = name.partition(".")
        source = "feed" if step in ("concentrate", "reverts") else f"{step}_{item}"
        carbon = entry.elements[:, ELEMENTS.index("C")]
        if item.rpartition(".")[2].rpartition("_")[2] not in _AIRS:
            found[source] = found.get(source, np.zeros(1)) + carbon
    least = ROUND_OFF * total(found.values()).real
    return {source: carbon for source, carbon in found.items() if np.any(carbon.real > least)}


def _carbon_dioxide(r: Results) -> FloatN:
    return total(_carbon(r).values()) * _CO2_MASS


def _rate(r: Results, kind: str) -> FloatN:
    return _carbon_dioxide(r) if kind == "co2" else emissions(r).rate(kind)


def _of_a_year(r: Results) -> list[str]:
    return [*kinds(r), "co2"]


def _if_there_are_upsets(r: Results) -> list[str]:
    return _of_a_year(r) if r.inputs.upset else []


def _yearly(r: Results, kind: str) -> FloatN:
    shares = ((r.inputs.upset[name].hours, _rate(state, kind)) for name, state in r.upsets.items())
    return yearly(_rate(r, kind), r.inputs.site.operating_time, shares)


def _why_none(r: Results, _: str) -> IntN:
    """A year has no total where the usual state or an upset has no answer."""
    reason = r.unsolved.reasons["emissions"]
    for state in r.upsets.values():
        reason = np.where(reason == Reason.SOLVED, state.unsolved.reasons["emissions"], reason)
    return reason


def _highest(r: Results, time: str) -> FloatN:
    assert r.load is not None
    return emissions(r).so2_highest(r.load.period, AVERAGING_TIMES[time])


def _highest_in(r: Results, member: str) -> FloatN:
    assert r.load is not None
    stack, _, time = member.rpartition(".")
    return emissions(r).highest_in(stack, r.load.period, AVERAGING_TIMES[time])


def _swinging(r: Results) -> list[str]:
    return [f"{stack}.{time}" for stack in emissions(r).swinging() for time in AVERAGING_TIMES]


_READING = functools.partial(Reading, needs="emissions")
_LEDGER = functools.partial(Reading, needs="ledger+smelting")
_AT_REFERENCE = "at the reference oxygen and moisture of [stack.NAME], else dry and at the oxygen measured"
_CARBON_OF = "CO2 from the carbon of fuels, reductants, fluxes and charge"

READINGS = (
    *(reading for kind in KINDS for reading in _kind(kind)),
    _READING("emissions.so2_highest.<X>", "kg/h", "highest mean of the site's SO2 over an averaging time; "
             "what escapes hoods follows the blowing", _highest, lambda _: list(AVERAGING_TIMES),
             needs="emissions+load"),
    _READING("emissions.highest.<X>", "mg/Nm3", "highest mean SO2 over an averaging time in a stack whose "
             "gas swings: SO2 over gas of that time, as the permit states it", _highest_in, _swinging,
             needs="emissions+load"),
    _READING("emissions.so2_per_t_acid", "kg/t", "SO2 of the first stack per tonne of 100 % acid",
             _of(lambda e: e.so2_per_acid), needs="emissions+acid_plant"),
    _READING("emissions.stack_so2", "mg/Nm3", f"SO2 in the first stack (tail gas), {_AT_REFERENCE}",
             _of(lambda e: e.stack.concentration("so2"))),
    _READING("emissions.stack_so2_highest", "mg/Nm3",
             "highest over the cycle, heat stored in the catalyst left out",
             _of(lambda e: e.stack_so2_highest)),
    _READING("emissions.stack_so2_ppm", "ppm", "SO2 in the first stack, dry, oxygen as measured",
             _of(lambda e: e.stack.so2_share)),
    _READING("emissions.stack_mist", "mg/Nm3", f"SO3 and acid mist in it as H2SO4, {_AT_REFERENCE}",
             _of(lambda e: e.stack.concentration("mist"))),
    _READING("emissions.worst_stack_so2", "mg/Nm3", f"SO2 in the stack that has most of it, {_AT_REFERENCE}",
             _of(lambda e: e.worst("so2"))),
    _READING("emissions.worst_stack_mist", "mg/Nm3", f"acid mist in the stack with most, {_AT_REFERENCE}",
             _of(lambda e: e.worst("mist"))),
    _READING("emissions.stack.<X>.flow", "Nm3/h", "dry gas of a stack", _stack(lambda x: x.flow), _stacks),
    _READING("emissions.stack.<X>.moisture", "vol%", "water vapour in the wet gas of a stack",
             _stack(lambda x: x.moisture), _stacks),
    _READING("emissions.stack.<X>.o2", "vol%", "oxygen in a stack, dry", _stack(lambda x: x.oxygen), _stacks),
    _READING("emissions.stack.<X>.so2_ppm", "ppm", "SO2 by volume", _stack(lambda x: x.so2_share), _stacks),
    _READING("emissions.stack.<X>.scrubbed", "kg/h", "SO2 washed out before a stack",
             _stack(lambda x: x.scrubbed * M_SO2), _stacks),
    _READING("emissions.stated.<X>", "mg/Nm3", "as the permit states it: in a cubic metre at the reference "
             "temperature, moisture and oxygen of the stack, 101.325 kPa", _stated, _stated_members),
    _READING("emissions.fugitive", "kg/h", "SO2 that no hood caught", _of(lambda e: e.fugitive * M_SO2)),
    _READING("emissions.fugitive_share", "%", "share of it in all SO2", _of(lambda e: e.fugitive_share)),
    _READING("emissions.sulfur_capture", "%", "sulfur in acid and scrubber products, of all sulfur fed",
             _of(lambda e: e.capture)),
    _READING("emissions.gas_sulfur_capture", "%", "the same, of the sulfur that went to gas",
             _of(lambda e: e.gas_capture)),
    _READING("emissions.sulfur_emitted", "%", "sulfur emitted as SO2, SO3 and acid, of all sulfur fed",
             _of(lambda e: e.emitted_share)),
    _LEDGER("emissions.co2", "t/h", _CARBON_OF, _carbon_dioxide),
    _LEDGER("emissions.co2_per_t_cu", "kg/t", "the same per tonne of copper",
            lambda r: _carbon_dioxide(r) / r.circuit.copper),
    _LEDGER("emissions.co2_from.<X>", "t/h", "CO2 from the carbon that a fuel, a flux or the feed brings",
            lambda r, source: _carbon(r)[source] * _CO2_MASS, lambda r: list(_carbon(r))),
    _READING("emissions.yearly.<X>", "t/a", "in a year of site.operating_time, upsets included",
             _yearly, _of_a_year, why=_why_none),
    _READING("emissions.yearly_without_upsets.<X>", "t/a", "the same, were there no upsets",
           lambda r, kind: _rate(r, kind) * r.inputs.site.operating_time, _if_there_are_upsets),
)  # fmt: skip
