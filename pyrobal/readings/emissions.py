"""Readings of the emissions. Nm3 : 0 degC and 101.325 kPa; concentrations are of dry gas."""

from __future__ import annotations

import functools
from collections.abc import Callable

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.emissions import EmissionsResult, Stack
from pyrobal.readings.reading import Reading
from pyrobal.thermo.acid_solution import M_SO2

_FUGITIVE = "fugitive"


def emissions(r: Results) -> EmissionsResult:
    """The emissions of a case that asks for them."""
    assert r.emissions is not None
    return r.emissions


def _of(compute: Callable[[EmissionsResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(emissions(r))


def _stacks(r: Results) -> list[str]:
    return list(emissions(r).stacks)


def _stack(compute: Callable[[Stack], FloatN]) -> Callable[[Results, str], FloatN]:
    return lambda r, name: compute(emissions(r).stacks[name])


def _sources(r: Results) -> list[str]:
    return [*_stacks(r), _FUGITIVE]


def _so2_from(r: Results, source: str) -> FloatN:
    e = emissions(r)
    return (e.fugitive if source == _FUGITIVE else e.stacks[source].so2) * M_SO2


_READING = functools.partial(Reading, needs="emissions")
_AT_REFERENCE = "dry, at emissions.reference_oxygen where it is set, else at the oxygen measured"

READINGS = (
    _READING("emissions.so2", "kg/h", "SO2 from all stacks and past the hoods", _of(lambda e: e.so2)),
    _READING("emissions.so2_yearly", "t/a", "the same in a year of site.operating_time",
             lambda r: emissions(r).so2 * r.inputs.site.operating_time),
    _READING("emissions.so2_from.<X>", "kg/h", "SO2 from a stack, or past the hoods (fugitive)",
             _so2_from, _sources),
    _READING("emissions.so2_per_t_cu", "kg/t", "SO2 per tonne of copper", _of(lambda e: e.so2_per_copper)),
    _READING("emissions.so2_per_t_acid", "kg/t", "SO2 of the first stack per tonne of 100 % acid",
             _of(lambda e: e.so2_per_acid), needs="emissions+acid_plant"),
    _READING("emissions.stack_so2", "mg/Nm3", f"SO2 in the first stack (tail gas), {_AT_REFERENCE}",
             _of(lambda e: e.stack.concentration(e.settings.reference_oxygen))),
    _READING("emissions.stack_so2_highest", "mg/Nm3",
             "the same at the worst moment of the cycle, heat held by the catalyst left out",
             _of(lambda e: e.stack_so2_highest)),
    _READING("emissions.stack_so2_ppm", "ppm", "SO2 in the first stack, dry, oxygen as measured",
             _of(lambda e: e.stack.so2_share)),
    _READING("emissions.stack_mist", "mg/Nm3", f"SO3 and acid mist in it as H2SO4, {_AT_REFERENCE}",
             _of(lambda e: e.stack.mist(e.settings.reference_oxygen))),
    _READING("emissions.stack.<X>.flow", "Nm3/h", "dry gas of a stack", _stack(lambda x: x.flow), _stacks),
    _READING("emissions.stack.<X>.so2", "mg/Nm3", "SO2 in a stack, dry, oxygen as measured",
             _stack(lambda x: x.concentration(None)), _stacks),
    _READING("emissions.stack.<X>.so2_ppm", "ppm", "by volume", _stack(lambda x: x.so2_share), _stacks),
    _READING("emissions.stack.<X>.o2", "vol%", "oxygen in a stack, dry", _stack(lambda x: x.oxygen), _stacks),
    _READING("emissions.stack.<X>.scrubbed", "kg/h", "SO2 washed out before a stack",
             _stack(lambda x: x.scrubbed * M_SO2), _stacks),
    _READING("emissions.fugitive", "kg/h", "SO2 that no hood caught", _of(lambda e: e.fugitive * M_SO2)),
    _READING("emissions.fugitive_share", "%", "share of it in all SO2", _of(lambda e: e.fugitive_share)),
    _READING("emissions.sulfur_capture", "%", "sulfur in acid and scrubber products, of all sulfur fed",
             _of(lambda e: e.capture)),
    _READING("emissions.gas_sulfur_capture", "%", "the same, of the sulfur that went to gas",
             _of(lambda e: e.gas_capture)),
    _READING("emissions.sulfur_emitted", "%", "sulfur emitted as SO2, SO3 and acid, of all sulfur fed",
             _of(lambda e: e.emitted_share)),
)  # fmt: skip
