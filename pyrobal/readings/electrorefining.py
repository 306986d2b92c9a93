"""Readings of the hand-over to electrorefining."""

from __future__ import annotations

import functools
from collections.abc import Callable

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.electrorefining import ElectrorefiningResult
from pyrobal.readings.assay import element_share, present_elements
from pyrobal.readings.reading import Reading
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS_OF


def tank_house(r: Results) -> ElectrorefiningResult:
    """The electrorefining of a case that has it."""
    assert r.electrorefining is not None
    return r.electrorefining


def _of(compute: Callable[[ElectrorefiningResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(tank_house(r))


def _rate(stream: Stream, element: str) -> FloatN:
    """(N,) [kg/s] of an element."""
    return stream.element(element) * ATOMIC_MASS_OF[element]


_READING = functools.partial(Reading, needs="electrorefining")

READINGS = (
    _READING("electrorefining.cathode.rate", "t/h", "cathode copper", _of(lambda e: e.cathode.mass())),
    _READING("electrorefining.cathode.copper", "wt%", "copper in the cathode",
             _of(lambda e: element_share(e.cathode, "Cu"))),
    _READING("electrorefining.cathode.assay.<X>", "wt%", "element in the cathode, order of magnitude",
             lambda r, element: element_share(tank_house(r).cathode, element),
             lambda r: present_elements(tank_house(r).cathode)),
    _READING("electrorefining.slimes.rate", "kg/h", "anode slimes, dry", _of(lambda e: e.slimes.mass())),
    _READING("electrorefining.slimes.per_tonne", "kg/t", "anode slimes per tonne of anode dissolved",
             _of(lambda e: e.slimes.mass() / (e.anodes.mass() - e.scrap.mass()))),
    _READING("electrorefining.slimes.gold", "kg/h", "gold in the slimes",
             _of(lambda e: _rate(e.slimes, "Au"))),
    _READING("electrorefining.slimes.silver", "kg/h", "silver in the slimes",
             _of(lambda e: _rate(e.slimes, "Ag"))),
    _READING("electrorefining.slimes.assay.<X>", "wt%", "element in the slimes",
             lambda r, element: element_share(tank_house(r).slimes, element),
             lambda r: present_elements(tank_house(r).slimes)),
    _READING("electrorefining.electrolyte.<X>", "kg/h", "element that builds up in the electrolyte",
             lambda r, element: _rate(tank_house(r).electrolyte, element),
             lambda r: [e for e in present_elements(tank_house(r).electrolyte) if e != "O"]),
    _READING("electrorefining.scrap", "t/h", "anode scrap", _of(lambda e: e.scrap.mass())),
    _READING("electrorefining.current", "kA", "current of all cells together", _of(lambda e: e.current)),
    _READING("electrorefining.cathode_area", "m2", "cathode area, both faces", _of(lambda e: e.cathode_area)),
    _READING("electrorefining.power", "MW", "drawn from the grid", _of(lambda e: e.power)),
    _READING("electrorefining.energy_per_tonne", "kWh/t", "the same per tonne of cathode",
             _of(lambda e: e.energy_per_mass)),
)  # fmt: skip
