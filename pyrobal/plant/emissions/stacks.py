"""The stacks: gas and dust of each, past the hoods as well, and the sulfur that is kept.

Concentrations are of dry gas at 0 degC and 101.325 kPa (Nm3) at the oxygen measured, or at the reference
of the stack.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, column, each_array, finite, ratio, total
from pyrobal.constants import T_NORMAL
from pyrobal.errors import Reason
from pyrobal.plant.emissions.averaging import highest_mean
from pyrobal.plant.emissions.settings import EmissionsSettings, StackSettings
from pyrobal.plant.emissions.stack import O2, SO2, WATER, Stack, at_reference, condensing
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.site import SiteSettings, air_humidity, air_species, moist_air
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime
from pyrobal.thermo.acid_solution import M_SO2
from pyrobal.thermo.properties import species
from pyrobal.trace.solved import tabulated

ACID_PLANT, SECONDARY = "acid_plant", "secondary"  # stacks that are treated by name


@dataclass(frozen=True, eq=False)
class Sulfur:
    """Where sulfur goes.

    fed, to_gas, acid : (N,) [mol/s] with charge and fuel, by the furnaces, in products
    """

    fed: FloatN
    to_gas: FloatN
    acid: FloatN


@dataclass(frozen=True, eq=False)
class EmissionsResult:
    """What leaves, per scenario.

    stacks : by name, "secondary" among them where gas escapes; the first is that of the acid plant if any
    over : gas of sources over time, by name, before scrubbing: of those whose gas swings
    escaped : gas and dust that no hood caught
    drawn : (N,) [mol/s] dry gas the secondary hoods are said to draw
    copper, acid : (N,) [kg/s] copper made, and 100 % acid
    reason : (N,) errors.Reason
    """

    settings: EmissionsSettings
    stacks: Mapping[str, Stack]
    over: Mapping[str, GasOverTime]
    escaped: Stack
    drawn: FloatN
    sulfur: Sulfur
    copper: FloatN
    acid: FloatN
    reason: IntN

    @property
    def stack(self) -> Stack:
        """The first stack: tail gas of the acid plant where there is one."""
        return next(iter(self.stacks.values()))

    @property
    def stack_so2_highest(self) -> FloatN:
        """(N,) [kg/mol] most of any moment in the first stack, at its reference."""
        name = next(iter(self.stacks))
        if name not in self.over:
            return self.stack.concentration("so2")
        highest: FloatN = ratio(*self._course(name)).max(axis=1)
        return highest

    def swinging(self) -> list[str]:
        """Stacks whose gas has a course of its own."""
        return [name for name in self.stacks if name in self.over]

    def highest_in(self, name: str, period: FloatN, window: float) -> FloatN:
        """(N,) [kg/mol] SO2 over gas of the highest ``window`` [s] in a stack of ``swinging``.

        period : (N,) [s] after which the gas of the stacks over time repeats itself
        """
        so2, volume = self._course(name)
        return highest_mean(so2, period, window, volume)

    def _course(self, name: str) -> tuple[Floats, Floats]:
        """(N, T) [kg/s] SO2 of a stack over time, and (N, T) [mol/s] its gas at the reference."""
        gas, washed = self.over[name], column(self._washed(name))
        dry = gas.flow - washed * gas.so2
        conditions = each_array(self.stacks[name].conditions, column)
        return (1.0 - washed) * gas.so2 * M_SO2, dry / at_reference(ratio(gas.o2, dry), conditions)

    def so2_highest(self, period: FloatN, window: float) -> FloatN:
        """(N,) [kg/s] highest mean over ``window`` [s] of the site; what has no course of its own is steady.

        period : (N,) [s] after which the gas of the stacks over time repeats itself
        """
        swing = [gas.so2 * column(1.0 - self._washed(name)) for name, gas in self.over.items()]
        if not swing:
            return self.so2
        course = total(swing) * M_SO2
        return self.so2 - course.mean(axis=1) + highest_mean(course, period, window)

    def _washed(self, name: str) -> FloatN:
        """(N,) share of the SO2 that the scrubber before a stack takes."""
        stack = self.sources[name]
        return ratio(stack.scrubbed, stack.so2 + stack.scrubbed)

    @property
    def sources(self) -> dict[str, Stack]:
        """Every stack by name, and "fugitive": what no hood caught."""
        return {**self.stacks, "fugitive": self.escaped}

    def rate(self, kind: str) -> FloatN:
        """(N,) [kg/s] of one of ``KINDS`` from all stacks and past the hoods."""
        return total(source.rate(kind) for source in self.sources.values())

    def held_to(self, kind: str) -> dict[str, FloatN]:
        """Stack -> (N,) [kg/mol], of the stacks the limit of stacks is for.

        Secondary hoods are not among them for SO2 where they have a limit of their own.
        """
        apart = kind == "so2" and self.settings.secondary_so2_limit is not None
        return {x: s.concentration(kind) for x, s in self.stacks.items() if not (apart and x == SECONDARY)}

    def worst(self, kind: str) -> FloatN:
        """(N,) [kg/mol] in the stack that has most of it, of those of ``held_to``."""
        return functools.reduce(np.maximum, self.held_to(kind).values())

    @property
    def so2(self) -> FloatN:
        """(N,) [kg/s] from all stacks and past the hoods."""
        return self.rate("so2")

    @property
    def fugitive(self) -> FloatN:
        """(N,) [mol/s] SO2 that no hood caught."""
        return self.escaped.so2

    @property
    def so2_per_copper(self) -> FloatN:
        """(N,) [kg/kg]."""
        return self.so2 / self.copper

    @property
    def so2_per_acid(self) -> FloatN:
        """(N,) [kg/kg] first stack only: the form of acid plant permits."""
        with np.errstate(all="ignore"):  # without end where no acid is made
            return self.stack.so2 * M_SO2 / self.acid

    @property
    def fugitive_share(self) -> FloatN:
        """(N,) of all SO2 emitted."""
        return self.fugitive * M_SO2 / self.so2

    @property
    def capture(self) -> FloatN:
        """(N,) sulfur in acid and scrubber products, of the sulfur fed."""
        return self._kept / self.sulfur.fed

    @property
    def gas_capture(self) -> FloatN:
        """(N,) the same, of the sulfur that went to gas."""
        return self._kept / self.sulfur.to_gas

    @property
    def emitted_share(self) -> FloatN:
        """(N,) sulfur emitted as SO2, SO3 and acid, of the sulfur fed."""
        return total(x.so2 + x.acid for x in self.sources.values()) / self.sulfur.fed

    @property
    def _kept(self) -> FloatN:
        return self.sulfur.acid + total(stack.scrubbed for stack in self.stacks.values())


def escape(stream: Stream, share: FloatN) -> tuple[Stream, Stream]:
    """A stream on its way to a primary hood: what the hood takes, and the ``share`` (N,) that escapes it."""
    return stream.scaled(1.0 - share), stream.scaled(share)


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What else decides about a stack.

    carried : dust by the name of the stack or of the source of what escapes
    conditions : of the permit, by stack
    vessels : (N,) converting vessels with a secondary hood
    over : gas of stacks over time, by name: "acid_plant", and "bypass" where a limit lets gas go by
    swing : (N, T) SO2 of converting over time, over its mean; None where it is steady
    """

    carried: Mapping[str, Stream]
    conditions: Mapping[str, StackSettings]
    vessels: FloatN
    site: SiteSettings
    over: Mapping[str, GasOverTime]
    swing: Floats | None = None


def solve(
    stacks: Mapping[str, Stream],
    escaped: Mapping[str, Stream],
    sulfur: Sulfur,
    copper: FloatN,
    acid: FloatN,
    s: EmissionsSettings,
    around: Surroundings | None = None,
) -> EmissionsResult:
    """Account for everything that leaves.

    stacks : gas by stack, the first that of the acid plant if any; "acid_plant" is tail gas with its mist
    escaped : gas that passed a primary hood, by source (see ``escape``)
    copper, acid : (N,) [kg/s] copper made, and 100 % acid made
    """
    around = around or Surroundings({}, {}, np.ones(1), SiteSettings(), {})
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        out = {name: _stack(name, gas, s, around) for name, gas in stacks.items()}
        past, drawn = _past_the_hoods(escaped, around), _drawn(escaped, s, around)
        if escaped:
            caught = _scaled(past, s.secondary_capture)
            out[SECONDARY] = _treated(SECONDARY, *_in_air(caught, drawn, around.site), s, around)
        lost = _scaled(past, 1.0 - s.secondary_capture)
        fugitive = Stack(*lost, np.zeros(1), StackSettings())
        over = {**around.over, **_past_over_time(escaped, out, fugitive, around)}
        reason = _reasons([*out.values()], fugitive, sulfur, copper)
    return EmissionsResult(s, out, over, fugitive, drawn, sulfur, copper, acid, reason)


def _stack(name: str, gas: Stream, s: EmissionsSettings, around: Surroundings) -> Stack:
    return _treated(name, gas, around.carried.get(name, _nothing()), s, around)


def _treated(name: str, gas: Stream, carried: Stream, s: EmissionsSettings, around: Surroundings) -> Stack:
    """Behind the scrubber and the filter of a stack."""
    scrubbing = {ACID_PLANT: s.tail_scrubbing, SECONDARY: s.secondary_scrubbing}.get(name, np.zeros(1))
    filtering = {SECONDARY: s.secondary_dust_catch, "slag_cleaning": s.slag_cleaning_dust_catch}
    caught = filtering.get(name, np.zeros(1))
    washed = gas.amount(SO2) * scrubbing
    solid = condensing(gas.phase) * column(caught)
    is_so2 = np.array([float(species_name == SO2) for species_name in gas.phase.names])
    cleaned = Stream(gas.phase, gas.n * (1.0 - solid) - column(washed) * is_so2, gas.T)
    conditions = around.conditions.get(name, StackSettings())
    return Stack(cleaned, carried.scaled(1.0 - caught), washed, conditions)


def _past_the_hoods(escaped: Mapping[str, Stream], around: Surroundings) -> tuple[Stream, Stream]:
    """Gas and dust that escaped the primary hoods, of all sources together."""
    carried = [around.carried[f"escaped_{name}"] for name in escaped if f"escaped_{name}" in around.carried]
    return _together(escaped.values()), _together(carried)


def _past_over_time(
    escaped: Mapping[str, Stream], stacks: Mapping[str, Stack], fugitive: Stack, around: Surroundings
) -> dict[str, GasOverTime]:
    """What escapes over time: of converting it follows the blowing; the hoods draw steadily."""
    if around.swing is None or "converter" not in escaped:
        return {}
    so2 = {name: column(gas.amount(SO2)) for name, gas in escaped.items()}
    mean = total(so2.values())
    course = ratio(mean + so2["converter"] * (around.swing - 1.0), mean)
    parts = {SECONDARY: stacks[SECONDARY], "fugitive": fugitive}
    return {name: _swinging(stack, course) for name, stack in parts.items()}


def _swinging(stack: Stack, course: Floats) -> GasOverTime:
    """Gas of a stack before its scrubber, its SO2 along ``course`` (N, T), the rest of it as on the mean."""
    so2, flow = stack.so2 + stack.scrubbed, stack.flow + stack.scrubbed
    others = np.broadcast_arrays(column(flow), column(stack.gas.amount(O2)), course)
    return GasOverTime(others[0], column(so2) * course, others[1])


def _drawn(escaped: Mapping[str, Stream], s: EmissionsSettings, around: Surroundings) -> FloatN:
    """(N,) [mol/s] dry gas all secondary hoods draw: as stated, else a usual flow of each hood."""
    if s.secondary_flow is not None:
        return s.secondary_flow
    hoods = {"furnace": s.secondary_flow_furnace, "converter": s.secondary_flow_vessel * around.vessels}
    return total(flow for name, flow in hoods.items() if name in escaped)


def _in_air(caught: tuple[Stream, Stream], drawn: FloatN, site: SiteSettings) -> tuple[Stream, Stream]:
    """Gas of the secondary hoods, in the air they draw."""
    gas, carried = caught
    own = gas.total() - gas.amount(WATER) - gas.amount("H2SO4(l)")
    air = moist_air(np.maximum(drawn - own, 0.0), air_humidity(site))
    return _together([gas, Stream(air_species(), air, site.air_temperature)]), carried


def _together(streams: Iterable[Stream]) -> Stream:
    """Streams on the union of their axes; their temperature is of no account here."""
    found = [*streams] or [_nothing()]
    phase = species(*dict.fromkeys(name for stream in found for name in stream.phase.names))
    return Stream(phase, total(on_phase(stream, phase) for stream in found), found[0].T)


def _nothing() -> Stream:
    return Stream(
        species(SO2), np.zeros((1, 1)), tabulated(np.array([T_NORMAL]), "0 degC", "K", (), T_NORMAL.source)
    )


def _scaled(parts: tuple[Stream, Stream], share: FloatN) -> tuple[Stream, Stream]:
    gas, carried = parts
    return gas.scaled(share), carried.scaled(share)


def _reasons(stacks: list[Stack], fugitive: Stack, sulfur: Sulfur, copper: FloatN) -> IntN:
    every = finite(sulfur.fed, sulfur.to_gas, sulfur.acid, copper)
    unreachable = np.zeros(1, dtype=bool)
    for stack in (*stacks, fugitive):
        every = every & finite(stack.gas.total(), stack.carried.mass(), stack.scrubbed)
        unreachable = unreachable | np.isnan(at_reference(stack.oxygen, stack.conditions))
    reason = np.where(unreachable, Reason.REFERENCE_OXYGEN_UNREACHABLE, Reason.SOLVED)
    return np.where(every, reason, Reason.INPUT_NOT_FINITE).astype(np.int64)
