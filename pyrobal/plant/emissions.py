"""Emissions: SO2 and acid from stacks and past the hoods, and the sulfur that is kept.

Basis of every concentration: dry gas at 0 degC and 101.325 kPa (Nm3), at the oxygen measured unless a
reference oxygen is set. No limit is built in: a figure is compared only with a limit the case gives.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, IntN, zeros
from pyrobal.constants import HOUR, NM3, NM3_PER_HOUR, TONNE
from pyrobal.errors import Reason
from pyrobal.fields import quantity
from pyrobal.streams.moments import GasOverTime
from pyrobal.streams.site import OXYGEN_IN_AIR
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID, M_SO2

ACID_PLANT, SECONDARY = "acid_plant", "secondary"  # stacks that are treated by name
SO2, O2, WATER = "SO2(g)", "O2(g)", "H2O(g)"
_ACID = ("SO3(g)", "H2SO4(g)", "H2SO4(l)")  # counted as H2SO4
_MG_PER_NM3 = 1e-6 / NM3  # kg/mol
_KILOGRAM_PER_TONNE = 1.0 / TONNE


@dataclass(frozen=True)
class EmissionsSettings:
    """Gas past the hoods, scrubbing before the stacks, and the site's own limits.

    Shares escaping are common practice and uncertain: measure them.
    """

    smelting_escape: FloatN = quantity(
        "%", "smelting furnace gas that escapes at openings and tap holes", default=0.005, low=0.0, high=0.5
    )
    converting_escape: FloatN = quantity(
        "%", "converter gas that escapes the primary hood", default=0.03, low=0.0, high=0.5
    )
    secondary_capture: FloatN = quantity(
        "%",
        "what secondary hoods catch, of the gas that escapes; 0 without them",
        default=0.9,
        low=0.0,
        high=1.0,
    )
    secondary_scrubbing: FloatN = quantity(
        "%", "SO2 washed out of the secondary hood gas", default=0.0, low=0.0, high=1.0
    )
    secondary_flow: FloatN | None = quantity(
        "Nm3/h", "dry gas the secondary hoods draw, air and all; its SO2 is diluted in it",
        default=None, low=0.0, high=5e6 * NM3_PER_HOUR,
    )  # fmt: skip
    tail_scrubbing: FloatN = quantity(
        "%", "SO2 washed out of the tail gas of the acid plant", default=0.0, low=0.0, high=1.0
    )
    reference_oxygen: FloatN | None = quantity(
        "vol%", "oxygen, dry, at which the concentration of the first stack is stated; else as measured",
        default=None, low=0.0, high=0.20,
    )  # fmt: skip
    so2_stack_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO2 in the first stack, dry, at the reference oxygen",
        default=None, low=0.0, high=1e6 * _MG_PER_NM3,
    )  # fmt: skip
    secondary_so2_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO2 in the secondary hood gas, dry, oxygen as measured",
        default=None, low=0.0, high=1e6 * _MG_PER_NM3,
    )  # fmt: skip
    mist_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO3 and acid mist in the first stack as H2SO4, dry, at the reference oxygen",
        default=None, low=0.0, high=1e5 * _MG_PER_NM3,
    )  # fmt: skip
    so2_limit: FloatN | None = quantity(
        "kg/h", "permit: SO2 of the whole site, fugitive within", default=None, low=0.0, high=1e6 / HOUR
    )
    so2_per_t_cu_limit: FloatN | None = quantity(
        "kg/t", "permit: SO2 of the whole site per tonne of copper",
        default=None, low=0.0, high=1e4 * _KILOGRAM_PER_TONNE,
    )  # fmt: skip
    so2_per_t_acid_limit: FloatN | None = quantity(
        "kg/t", "permit: SO2 of the first stack per tonne of 100 % acid",
        default=None, low=0.0, high=1e3 * _KILOGRAM_PER_TONNE,
    )  # fmt: skip
    capture_limit: FloatN | None = quantity(
        "%", "permit: least sulfur capture", default=None, low=0.0, high=1.0
    )


@dataclass(frozen=True, eq=False)
class Sulfur:
    """Where sulfur goes.

    fed, to_gas, acid : (N,) [mol/s] with charge and fuel, by the furnaces, in products
    """

    fed: FloatN
    to_gas: FloatN
    acid: FloatN


@dataclass(frozen=True, eq=False)
class Stack:
    """Gas of one stack, scrubbed.

    flow : (N,) [mol/s] dry; so2, acid : (N,) [mol/s], acid as H2SO4 with its SO3; oxygen : (N,) [mol/mol] dry
    scrubbed : (N,) [mol/s] SO2 washed out before it
    """

    flow: FloatN
    so2: FloatN
    acid: FloatN
    oxygen: FloatN
    scrubbed: FloatN

    @property
    def so2_share(self) -> FloatN:
        """(N,) [mol/mol] dry, oxygen as measured; zero where nothing flows."""
        return _ratio(self.so2, self.flow)

    def concentration(self, reference_oxygen: FloatN | None) -> FloatN:
        """SO2 (N,) [kg/mol of dry gas] at the reference oxygen."""
        return self.so2_share * M_SO2 * self.oxygen_correction(reference_oxygen)

    def mist(self, reference_oxygen: FloatN | None) -> FloatN:
        """SO3 and acid as H2SO4 (N,) [kg/mol of dry gas] at the reference oxygen."""
        return _ratio(self.acid, self.flow) * M_ACID * self.oxygen_correction(reference_oxygen)

    def oxygen_correction(self, reference_oxygen: FloatN | None) -> FloatN:
        """(N,) [-]: (x_air - x_reference) / (x_air - x_measured), dry; one where there is no reference.

        The usual form of permits, with the oxygen of dry air at 20.95 %.
        nan where the gas holds as much oxygen as air.
        """
        if reference_oxygen is None:
            return np.ones(1)
        spare = OXYGEN_IN_AIR - self.oxygen
        return np.where(
            spare > 0, (OXYGEN_IN_AIR - reference_oxygen) / np.where(spare > 0, spare, 1.0), np.nan
        )


@dataclass(frozen=True, eq=False)
class EmissionsResult:
    """What leaves, per scenario.

    stacks : by name, "secondary" among them where gas escapes; the first is the one the stack limits are for
    fugitive : (N,) [mol/s] SO2 that no hood caught
    copper, acid : (N,) [kg/s] copper made, and 100 % acid
    over : gas of stacks over time, by name, before scrubbing: of those whose gas swings
    reason : (N,) errors.Reason
    """

    settings: EmissionsSettings
    stacks: Mapping[str, Stack]
    fugitive: FloatN
    sulfur: Sulfur
    copper: FloatN
    acid: FloatN
    over: Mapping[str, GasOverTime]
    reason: IntN

    @property
    def stack_so2_highest(self) -> FloatN:
        """(N,) [kg/mol of dry gas] most of any moment in the first stack, at the reference oxygen."""
        name = next(iter(self.stacks))
        if name not in self.over:
            return self.stack.concentration(self.settings.reference_oxygen)
        washed = _ratio(self.stack.scrubbed, self.stack.so2 + self.stack.scrubbed)[:, None]
        gas = self.over[name]
        left = gas.flow - washed * gas.so2
        dry = Stack(left, (1.0 - washed) * gas.so2, left, _ratio(gas.o2, left), washed)
        reference = self.settings.reference_oxygen
        highest: FloatN = dry.concentration(None if reference is None else reference[:, None]).max(axis=1)
        return highest

    @property
    def stack(self) -> Stack:
        """The first stack: tail gas of the acid plant where there is one."""
        return next(iter(self.stacks.values()))

    @property
    def so2(self) -> FloatN:
        """(N,) [kg/s] from all stacks and past the hoods."""
        return (sum((stack.so2 for stack in self.stacks.values()), self.fugitive)) * M_SO2

    @property
    def so2_per_copper(self) -> FloatN:
        """(N,) [kg/kg]."""
        return self.so2 / self.copper

    @property
    def so2_per_acid(self) -> FloatN:
        """(N,) [kg/kg] first stack only: the form of acid plant permits."""
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
        return (self.so2 / M_SO2 + sum(stack.acid for stack in self.stacks.values())) / self.sulfur.fed

    @property
    def _kept(self) -> FloatN:
        return self.sulfur.acid + sum(stack.scrubbed for stack in self.stacks.values())


def escape(stream: Stream, share: FloatN) -> tuple[Stream, Stream]:
    """A stream on its way to a primary hood: what the hood takes, and the ``share`` (N,) that escapes it."""
    return stream.scaled(1.0 - share), stream.scaled(share)


def solve(
    stacks: Mapping[str, Stream],
    escaped: Mapping[str, Stream],
    sulfur: Sulfur,
    copper: FloatN,
    acid: FloatN,
    s: EmissionsSettings,
    over: Mapping[str, GasOverTime] | None = None,
) -> EmissionsResult:
    """Account for everything that leaves.

    stacks : gas by stack, first the one the stack limits are for; "acid_plant" is tail gas with its mist
    escaped : gas that passed a primary hood, by source (see ``escape``)
    copper, acid : (N,) [kg/s] copper made, and 100 % acid made
    over : gas of stacks over time, by name: "acid_plant", and "bypass" where a limit lets gas go by
    """
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        scrubbing = {ACID_PLANT: s.tail_scrubbing}
        out = {name: _stack(gas, scrubbing.get(name, np.zeros(1))) for name, gas in stacks.items()}
        caught = [_stack(gas.scaled(s.secondary_capture), s.secondary_scrubbing) for gas in escaped.values()]
        if caught:
            out[SECONDARY] = _secondary(caught, s.secondary_flow)
        fugitive = sum(
            (gas.amount(SO2) * (1.0 - s.secondary_capture) for gas in escaped.values()), np.zeros(1)
        )
        reason = _reasons(next(iter(out.values())), [*out.values()], fugitive, sulfur, copper, s)
    return EmissionsResult(s, out, fugitive, sulfur, copper, acid, over or {}, reason)


def _stack(gas: Stream, scrubbing: FloatN) -> Stack:
    liquid = gas.amount("H2SO4(l)")
    so2, dry = gas.amount(SO2), gas.total() - gas.amount(WATER) - liquid
    washed = so2 * scrubbing
    acid = sum(gas.amount(name) for name in _ACID)
    return Stack(dry - washed, so2 - washed, np.asarray(acid), _ratio(gas.amount(O2), dry - washed), washed)


def _secondary(parts: list[Stack], flow: FloatN | None) -> Stack:
    """Gas of the secondary hoods, in the air they draw."""
    own = sum(part.flow for part in parts)
    drawn = own if flow is None else np.maximum(flow, own)
    oxygen = sum(part.oxygen * part.flow for part in parts) + (drawn - own) * OXYGEN_IN_AIR
    so2, acid, scrubbed = (np.asarray(sum(getattr(p, x) for p in parts)) for x in ("so2", "acid", "scrubbed"))
    return Stack(np.asarray(drawn), so2, acid, _ratio(np.asarray(oxygen), np.asarray(drawn)), scrubbed)


def _ratio(part: FloatN, whole: FloatN) -> FloatN:
    part, whole = np.broadcast_arrays(part, whole)
    return np.divide(
        part, whole, out=np.where(np.isnan(whole), np.nan, zeros(part.shape, part, whole)), where=whole > 0
    )


def _reasons(
    first: Stack, stacks: list[Stack], fugitive: FloatN, sulfur: Sulfur, copper: FloatN, s: EmissionsSettings
) -> IntN:
    total = fugitive + sulfur.fed + sulfur.to_gas + sulfur.acid + copper
    for stack in stacks:
        total = total + stack.flow + stack.so2 + stack.acid
    unreachable = np.isnan(first.oxygen_correction(s.reference_oxygen))
    reason = np.where(unreachable, Reason.REFERENCE_OXYGEN_UNREACHABLE, Reason.SOLVED)
    return np.where(np.isfinite(total), reason, Reason.INPUT_NOT_FINITE).astype(np.int64)


# Reading a limit is compared with -> what is said where it is broken.
CAUTIONS = {
    "emissions.stack_so2": "SO2 in the first stack is above emissions.so2_stack_limit",
    "emissions.stack.secondary.so2": "SO2 in the secondary hood gas is above emissions.secondary_so2_limit",
    "emissions.stack_mist": "SO3 and acid mist in the first stack are above emissions.mist_limit",
    "emissions.so2": "SO2 of the site is above emissions.so2_limit",
    "emissions.so2_per_t_cu": "SO2 per tonne of copper is above emissions.so2_per_t_cu_limit",
    "emissions.secondary_flow": (
        "the secondary hoods catch more gas than emissions.secondary_flow says they draw; their gas is "
        "stated undiluted"
    ),
    "emissions.so2_per_t_acid": "SO2 of the first stack per tonne of acid is above its limit",
    "emissions.sulfur_capture": "sulfur capture is below emissions.capture_limit",
}
SAFETY = (
    "averages of a steady balance, not a compliance test: permits name averaging times, start-ups and "
    "methods of measurement. SO2 exposure: NIOSH REL 2 ppm (8 h), 5 ppm (15 min), IDLH 100 ppm; OSHA PEL "
    "5 ppm. Local permit and licensed practice decide"
)


def cautions(r: EmissionsResult) -> dict[str, BoolN]:
    """(N,) True where a limit of the case is broken; only those the case gives are there."""
    with np.errstate(all="ignore"):
        return _broken(r)


def _broken(r: EmissionsResult) -> dict[str, BoolN]:
    s = r.settings
    pairs: dict[str, tuple[FloatN, FloatN | None]] = {
        "emissions.stack_so2": (r.stack.concentration(s.reference_oxygen), s.so2_stack_limit),
        "emissions.stack_mist": (r.stack.mist(s.reference_oxygen), s.mist_limit),
        "emissions.so2": (r.so2, s.so2_limit),
        "emissions.so2_per_t_cu": (r.so2_per_copper, s.so2_per_t_cu_limit),
        "emissions.so2_per_t_acid": (r.so2_per_acid, s.so2_per_t_acid_limit),
    }
    if s.capture_limit is not None:
        pairs["emissions.sulfur_capture"] = (-r.capture, -s.capture_limit)
    if SECONDARY in r.stacks:
        secondary = r.stacks[SECONDARY]
        pairs["emissions.stack.secondary.so2"] = (secondary.concentration(None), s.secondary_so2_limit)
        pairs["emissions.secondary_flow"] = (secondary.flow, s.secondary_flow)
    solved = r.reason == Reason.SOLVED
    return {key: np.asarray((x > limit) & solved) for key, (x, limit) in pairs.items() if limit is not None}
