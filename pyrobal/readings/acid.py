"""Readings of the acid plant."""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.acid_plant import AcidPlantResult
from pyrobal.plant.acid_plant.acid import ACID, LIQUID_WATER
from pyrobal.plant.acid_plant.bed import O2, SO2, SO3
from pyrobal.plant.acid_plant.converter import WATER
from pyrobal.plant.gas_train.wet import Bypass
from pyrobal.readings.reading import Reading
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime
from pyrobal.thermo.acid_solution import M_ACID, M_SO2, M_WATER

_PRODUCTS = {"absorption": "strength", "drying": "drying_strength"}


def acid_plant(r: Results) -> AcidPlantResult:
    """The acid plant of a case that has one."""
    assert r.acid_plant is not None
    return r.acid_plant


def _of(compute: Callable[[AcidPlantResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(acid_plant(r))


def _production(a: AcidPlantResult) -> FloatN:
    """(N,) [kg/s] as 100 %."""
    return a.acid.production() * M_ACID


def _dry_share(stream: Stream, name: str) -> FloatN:
    return stream.amount(name) / (stream.total() - stream.amount(WATER))


def _beds(r: Results) -> list[str]:
    return [str(k) for k in acid_plant(r).settings.working()]


def _bed_inlet(r: Results, bed: str) -> FloatN:
    return acid_plant(r).converter.beds[int(bed) - 1].inlet.T


def _bed_outlet(r: Results, bed: str) -> FloatN:
    return acid_plant(r).converter.beds[int(bed) - 1].outlet.T


def _bed_hottest(r: Results, bed: str) -> FloatN:
    hottest: FloatN = acid_plant(r).course.outlet[:, :, int(bed) - 1].max(axis=1)
    return hottest


def _bed_conversion(r: Results, bed: str) -> FloatN:
    conversion: FloatN = acid_plant(r).converter.conversion()[:, int(bed) - 1]
    return conversion


def _products(r: Results) -> list[str]:
    """Circuits that acid is drawn from."""
    products = acid_plant(r).acid.products
    return [name for name in _PRODUCTS if np.any(products[name].amount(ACID) > 0)]


def _drawn(r: Results, circuit: str) -> FloatN:
    return acid_plant(r).acid.products[circuit].mass()


def _strength(r: Results, circuit: str) -> FloatN:
    return acid_plant(r).acid.strengths()[circuit]


def bypass(r: Results) -> Bypass:
    """The by-pass of a case with a limit on the acid plant."""
    assert r.bypass is not None
    return r.bypass


def _offered(r: Results) -> GasOverTime:
    """All gas that comes, over time: what the acid plant takes, where nothing can go by."""
    return acid_plant(r).course.feed if r.bypass is None else bypass(r).offered


def _by(compute: Callable[[GasOverTime], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(bypass(r).over)


_READING = functools.partial(Reading, needs="acid_plant")
_BYPASS = functools.partial(Reading, needs="acid_plant+bypass")

READINGS = (
    _READING("acid.so2_load", "t/h", "SO2 that reaches the acid plant, mean",
             _of(lambda a: a.feed.amount(SO2) * M_SO2)),
    _READING("acid.inlet_flow", "Nm3/h", "gas to the first bed, dry, mean", _of(lambda a: a.inlet_flow)),
    _READING("acid.inlet_so2", "vol%", "SO2 in it", _of(lambda a: a.so2_strength)),
    _READING("acid.inlet_o2", "vol%", "O2 in it", _of(lambda a: a.feed.amount(O2) / a.inlet_flow)),
    _READING("acid.o2_so2", "-", "O2 per SO2 in it, by volume", _of(lambda a: a.oxygen_ratio)),
    _READING("acid.flow_offered", "Nm3/h",
             "highest gas flow over the cycle, with the air it needs, dry, before any by-pass",
             lambda r: _offered(r).flow.max(axis=1)),
    _READING("acid.so2_offered", "t/h", "highest SO2 over the cycle, before any by-pass",
             lambda r: _offered(r).so2.max(axis=1) * M_SO2),
    _BYPASS("acid.bypass.so2", "t/h", "SO2 that by-passes the acid plant, mean",
            _by(lambda x: x.so2.mean(axis=1) * M_SO2)),
    _BYPASS("acid.bypass.so2_highest", "t/h", "highest SO2 that by-passes it over the cycle",
            _by(lambda x: x.so2.max(axis=1) * M_SO2)),
    _BYPASS("acid.bypass.flow", "Nm3/h", "gas by-passing it, dry, mean", _by(lambda x: x.flow.mean(axis=1))),
    _BYPASS("acid.bypass.time", "%", "share of the time with a by-pass",
            _by(lambda x: (x.flow > 0).mean(axis=1))),
    _READING("acid.conversion", "%", "SO2 oxidised in all beds, of all that a cycle brings",
             _of(lambda a: a.conversion)),
    _READING("acid.conversion_lowest", "%",
             "lowest over the cycle; catalyst stores heat, so real swings are smaller",
             _of(lambda a: a.conversion_lowest)),
    _READING("acid.lighting_margin", "K",
             "inlet of a bed above where its catalyst works whole, of the bed nearest to it; negative: below",
             lambda r: acid_plant(r).settings.lighting_margin()),
    _READING("acid.time_weak", "%", "time in which the gas is too weak to heat itself",
             _of(lambda a: a.time_weak)),
    _READING("acid.bed.<X>.inlet", "degC", "gas entering a bed", _bed_inlet, _beds),
    _READING("acid.bed.<X>.outlet", "degC", "gas leaving a bed, that of a cycle mixed", _bed_outlet, _beds),
    _READING("acid.bed.<X>.hottest", "degC", "its highest temperature over the cycle", _bed_hottest, _beds),
    _READING("acid.bed.<X>.conversion", "%", "SO2 oxidised by the end of a bed", _bed_conversion, _beds),
    _READING("acid.hottest_bed", "degC", "highest outlet temperature of any bed", _of(lambda a: a.hottest)),
    _READING("acid.production", "t/d", "sulfuric acid drawn, as 100 % H2SO4", _of(_production)),
    _READING("acid.as_93", "t/d", "the same as 93 % acid", _of(lambda a: _production(a) / 0.93)),
    _READING("acid.as_98_5", "t/d", "the same as 98.5 % acid", _of(lambda a: _production(a) / 0.985)),
    _READING("acid.product.<X>", "t/d", "acid drawn from a circuit, at its strength", _drawn, _products),
    _READING("acid.strength.<X>", "wt%", "H2SO4 in it", _strength, _products),
    _READING("acid.water_balance", "t/h",
             "water wanted for the strength asked for, beside that of the gas; negative: too much comes in",
             _of(lambda a: a.acid.water_balance * M_WATER)),
    _READING("acid.dilution_water", "t/h", "water added to the acid",
             _of(lambda a: a.acid.dilution.amount(LIQUID_WATER) * M_WATER)),
    _READING("acid.inlet_moisture", "vol%", "water vapour in the gas before the drying tower",
             _of(lambda a: a.gas.amount(WATER) / a.gas.total())),
    _READING("acid.moisture_limit", "vol%", "most water vapour there that the strength asked for allows",
             _of(lambda a: a.moisture_limit())),
    _READING("acid.saturation_limit", "degC", "hottest that gas may come saturated with water",
             _of(lambda a: a.saturation_limit())),
    _READING("acid.autothermal", "vol%",
             "SO2 in the dried gas above acid.autothermal_strength; negative: a preheater is fired",
             _of(lambda a: a.so2_strength - a.autothermal.strength)),
    _READING("acid.autothermal_strength", "vol%",
             "SO2 at which the gas just heats itself, at this O2/SO2 and conversion, nitrogen for the rest",
             _of(lambda a: a.autothermal.strength)),
    _READING("acid.heat.spare", "MW", "heat to recover from the gas; negative: heat a preheater has to bring",
             _of(lambda a: a.converter.surplus())),
    _READING("acid.heat.spare_per_tonne", "GJ/t", "the same per tonne of 100 % acid",
             _of(lambda a: a.converter.surplus() / _production(a))),
    _READING("acid.heat.exchanged.<X>", "MW", "heat the gas takes up on its way; negative where it is cooled",
             lambda r, name: acid_plant(r).converter.duties[name],
             lambda r: list(acid_plant(r).converter.duties)),
    _READING("acid.heat.loss", "MW", "lost by converter and exchangers", _of(lambda a: a.converter.loss)),
    _READING("acid.heat.acid_cooling", "MW", "heat the acid coolers take: drying, absorption, dilution",
             _of(lambda a: a.acid_cooling)),
    _READING("acid.blower_power", "kW", "given to the gas by the main blower", _of(lambda a: a.blower_power)),
    _READING("acid.blower_suction_flow", "m3/h",
             "dried gas as the blower draws it, at its temperature and the pressure of the site, mean",
             _of(lambda a: a.blower_suction * a.feed.total())),
    _READING("acid.blower_suction_flow_peak", "m3/h", "the same at the highest gas flow",
             _of(lambda a: a.blower_suction * a.course.feed.flow.max(axis=1))),
    _READING("acid.blower_energy", "kWh/t", "the same per tonne of 100 % acid",
             _of(lambda a: a.blower_power / _production(a))),
    _READING("acid.tail.flow", "Nm3/h", "tail gas, dry, before a scrubber", _of(lambda a: a.tail.total())),
    _READING("acid.tail.so2", "ppm", "SO2 in the dry tail gas, oxygen as measured",
             _of(lambda a: _dry_share(a.tail, SO2))),
    _READING("acid.tail.so3", "ppm", "SO3 in it", _of(lambda a: _dry_share(a.tail, SO3))),
    _READING("acid.tail.o2", "vol%", "O2 in it", _of(lambda a: _dry_share(a.tail, O2))),
    _READING("acid.tail.temperature", "degC", "tail gas leaving the last absorber", _of(lambda a: a.tail.T)),
)  # fmt: skip
