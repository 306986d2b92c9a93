"""Readings of the gas train. A point is "furnace" as the gas enters, "furnace.cooler" behind that piece."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.gas_train.points import Point
from pyrobal.plant.gas_train.solve import Cleaning, GasLine, GasTrainResult
from pyrobal.plant.gas_train.wet import ACID
from pyrobal.readings.reading import Reading
from pyrobal.streams.ledger import Entry
from pyrobal.streams.material import WATER_MASS
from pyrobal.streams.site import DRY_AIR
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID, M_SO2
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS

_SHARES = ("SO2", "SO3", "O2", "N2", "CO2", "CO", "H2O")
_AIRS = ("air", "leak", "sulfation_air")  # as the ledgers of the pieces name them


def train(r: Results) -> GasTrainResult:
    """The gas train of a case that has one."""
    assert r.gas_train is not None
    return r.gas_train


def _points(r: Results) -> list[str]:
    return list(train(r).points)


def _walls(r: Results) -> list[str]:
    return [name for name, point in train(r).points.items() if point.margin is not None]


def _point(compute: Callable[[Point], FloatN]) -> Callable[[Results, str], FloatN]:
    return lambda r, name: compute(train(r).points[name])


def _share(name: str, point: Point) -> FloatN:
    return point.offgas.gas.amount(f"{name}(g)") / point.flow_wet


def _margin(point: Point) -> FloatN:
    assert point.margin is not None
    return point.margin


def _lines(r: Results) -> list[str]:
    return list(train(r).lines)


def _boilers(r: Results) -> list[str]:
    return [name for name, line in train(r).lines.items() if line.settings.cooling == "boiler"]


def _sprays(r: Results) -> list[str]:
    return [name for name, line in train(r).lines.items() if line.settings.cooling == "water_spray"]


def _line(compute: Callable[[GasLine], FloatN]) -> Callable[[Results, str], FloatN]:
    return lambda r, name: compute(train(r).lines[name])


def _cleaning(compute: Callable[[Cleaning], FloatN]) -> Callable[[Results], FloatN]:
    """Of the wet cleaning; nothing at all where no line goes to the acid plant."""

    def value(r: Results) -> FloatN:
        cleaning = train(r).cleaning
        return np.zeros(1) if cleaning is None else compute(cleaning)

    return value


def _air_in(inputs: Mapping[str, Entry]) -> FloatN:
    """(N,) [mol/s] dry air among the inputs of a piece, by its nitrogen."""
    nitrogen = [e.elements[:, ELEMENTS.index("N")] for name, e in inputs.items() if name in _AIRS]
    return sum(nitrogen, np.zeros(1)) / (2.0 * DRY_AIR["N2(g)"])


def _air(line: GasLine) -> FloatN:
    return sum((_air_in(piece.ledger.inputs) for piece in line.pieces.values()), np.zeros(1))


def _dust_places(r: Results) -> list[str]:
    pieces = [f"{name}.{piece}" for name in _lines(r) for piece in ("cooler", "precipitator")]
    return [*_lines(r), *pieces]


def _dust_caught(r: Results, place: str) -> FloatN:
    name, _, piece = place.partition(".")
    line = train(r).lines[name]
    caught = line.pieces[piece].caught if piece else line.dust
    assert caught is not None
    return caught.mass()


def _dust_elements(r: Results) -> list[str]:
    found = []
    for name, line in train(r).lines.items():
        present = np.any(line.dust.elements() > 0.0, axis=0)
        found += [f"{name}.{e}" for e, there in zip(ELEMENTS, present, strict=True) if there]
    return found


def _dust_assay(r: Results, member: str) -> FloatN:
    name, _, element = member.partition(".")
    dust = train(r).lines[name].dust
    return element_mass(dust, element) / dust.mass()


def element_mass(stream: Stream, element: str) -> FloatN:
    """(N,) [kg/s] of an element in a stream."""
    return stream.element(element) * ATOMIC_MASS_OF[element]


def _mercury_passed(c: Cleaning) -> FloatN:
    left = c.cleaned
    dry = left.gas.total() - left.gas.amount("H2O(g)")
    return (element_mass(left.gas, "Hg") + element_mass(left.carried, "Hg")) / dry


def _mercury_to_acid(r: Results) -> FloatN:
    taken = train(r).carried_to_acid
    return np.zeros(1) if taken is None else element_mass(taken, "Hg")


def _weak_acid(compute: Callable[[Stream], FloatN]) -> Callable[[Results], FloatN]:
    return _cleaning(lambda c: compute(c.weak_acid))


_READING = functools.partial(Reading, needs="gas_train")
_AT_POINTS: tuple[tuple[str, str, str, Callable[[Point], FloatN]], ...] = (
    ("flow_wet", "Nm3/h", "gas at a point of the gas train", lambda p: p.flow_wet),
    ("flow_dry", "Nm3/h", "the same without water vapour", lambda p: p.flow_dry),
    ("flow_actual", "m3/h", "the gas as it is there, wet, at its temperature and pressure",
     lambda p: p.flow_actual),
    *((name.lower(), "vol%", f"{name} in the wet gas", functools.partial(_share, name)) for name in _SHARES),
    ("so2_dry", "vol%", "SO2 in the dry gas", lambda p: p.offgas.gas.amount("SO2(g)") / p.flow_dry),
    ("so2_load", "t/h", "SO2 carried by the gas", lambda p: p.offgas.gas.amount("SO2(g)") * M_SO2),
    ("temperature", "degC", "gas at a point of the gas train", lambda p: p.offgas.T),
    ("dust", "g/Nm3", "dust, behind the quench mist and fume, carried by the dry gas",
     lambda p: p.offgas.carried.mass() / p.flow_dry),
    ("dew_point_low", "degC", "acid dew point, lower of two correlations", lambda p: p.dew_point.low),
    ("dew_point_high", "degC", "acid dew point, higher of two correlations", lambda p: p.dew_point.high),
)  # fmt: skip

READINGS = (
    *(_READING(f"gas.<X>.{key}", unit, meaning, _point(compute), _points)
      for key, unit, meaning, compute in _AT_POINTS),
    _READING("gas.<X>.wall_margin", "K", "coldest metal above the higher acid dew point",
             _point(_margin), _walls),
    _READING("gas.steam", "t/h", "steam of all boilers", lambda r: train(r).steam),
    _READING("gas.<X>.steam", "t/h", "steam of a line's boiler", _line(lambda x: x.cooler.steam), _boilers),
    _READING("gas.<X>.steam_heat", "MW", "heat to it",
             _line(lambda x: x.cooler.ledger.heat_out["steam"]), _boilers),
    _READING("gas.<X>.spray_water", "t/h", "water evaporated by a line's spray cooler",
             _line(lambda x: x.cooler.spray * WATER_MASS), _sprays),
    _READING("gas.<X>.sulfation_air", "Nm3/h", "air blown in to turn dust to sulfate, dry",
             _line(lambda x: x.cooler.sulfation_air), _lines),
    _READING("gas.<X>.air", "Nm3/h", "all air that enters a line, dry", _line(_air), _lines),
    _READING("gas.<X>.fan_power", "kW", "given to the gas by a line's fan",
             _line(lambda x: x.fan.power), _lines),
    _READING("gas.<X>.fan_suction_flow", "m3/h", "wet gas as a line's fan draws it, hot and under suction",
             _line(lambda x: x.fan.suction_flow), _lines),
    _READING("gas.<X>.dust_caught", "t/h", "dust caught by a line or a piece of it",
             _dust_caught, _dust_places),
    _READING("gas.dust_assay.<X>", "wt%", "element in the dust caught by a line",
             _dust_assay, _dust_elements),
    _READING("gas.dilution_air", "Nm3/h", "air added before the drying tower, dry",
             _cleaning(lambda c: c.dilution.air)),
    _READING("gas.wash.evaporated", "t/h", "water the quench evaporates",
             _cleaning(lambda c: c.quench.evaporated * WATER_MASS)),
    _READING("gas.wash.condensate", "t/h", "water the cooling tower condenses",
             _cleaning(lambda c: c.tower.condensate * WATER_MASS)),
    _READING("gas.wash.make_up", "t/h", "fresh water to the wash",
             _cleaning(lambda c: c.make_up * WATER_MASS)),
    _READING("gas.wash.cooling", "MW", "heat of the cooling tower to cooling water",
             _cleaning(lambda c: c.tower.duty)),
    _READING("gas.weak_acid.rate", "t/h", "weak acid bled off, solids and dissolved SO2 included",
             _weak_acid(lambda x: x.mass())),
    _READING("gas.weak_acid.strength", "wt%", "H2SO4 of acid and water in it",
             _cleaning(lambda c: c.weak_acid_strength)),
    _READING("gas.weak_acid.h2so4", "kg/h", "H2SO4 in it, from SO3",
             _weak_acid(lambda x: x.amount(ACID) * M_ACID)),
    *(_READING(f"gas.weak_acid.{name}", "kg/h", f"{name} in it",
               _weak_acid(functools.partial(element_mass, element=element)))
      for name, element in (("arsenic", "As"), ("mercury", "Hg"), ("chlorine", "Cl"), ("fluorine", "F"))),
    _READING("gas.mercury_passed", "mg/Nm3", "mercury left in the dry gas, behind a mercury tower if any",
             _cleaning(_mercury_passed)),
    _READING("gas.mercury_to_acid", "kg/h", "mercury that the acid takes up", _mercury_to_acid,
             needs="gas_train+acid_plant"),
    _READING("gas.weak_acid.so2", "kg/h", "SO2 lost in it", _weak_acid(lambda x: x.amount("SO2(g)") * M_SO2)),
)  # fmt: skip
