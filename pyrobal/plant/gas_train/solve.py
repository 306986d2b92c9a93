"""The gas train: every source down its hot line, then together through the wet cleaning."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, IntN
from pyrobal.errors import Reason
from pyrobal.plant.gas_train.cooler import Cooler, cooler, reacted
from pyrobal.plant.gas_train.hot import Fan, burnt_in_hood, fan, hood, precipitator
from pyrobal.plant.gas_train.offgas import Offgas, Piece, check, first_reason, gathered, parted
from pyrobal.plant.gas_train.points import Point
from pyrobal.plant.gas_train.reactions import ALL, key
from pyrobal.plant.gas_train.settings import GasLineSettings, GasTrainSettings
from pyrobal.plant.gas_train.wet import (
    ACID,
    WATER,
    Bypass,
    Dilution,
    Quench,
    Tower,
    dilution,
    dry_flow,
    mercury_tower,
    mist_precipitator,
    mixing,
    needed,
    quench,
    taken_up,
    tower,
)
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import cold, on_phase
from pyrobal.streams.site import AIR_SPECIES, SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import strength
from pyrobal.thermo.properties import Species, species

_PASSED_ON = ("gas", "carried")
_GAS_BASIS = ("SO2(g)", *AIR_SPECIES, "SO3(g)")


@dataclass(frozen=True, eq=False)
class Source:
    """Gas of one furnace as it leaves, and the dust in it, as hot as the gas (None where there is none)."""

    gas: Stream
    dust: Stream | None = None


@dataclass(frozen=True, eq=False)
class GasLine:
    """The hot line of one source, its pieces in the order the gas meets them."""

    settings: GasLineSettings
    inlet: Offgas
    hood: Piece
    cooler: Cooler
    precipitator: Piece
    fan: Fan

    @property
    def pieces(self) -> dict[str, Piece]:
        """By name, in order."""
        return {name: getattr(self, name) for name in ("hood", "cooler", "precipitator", "fan")}

    @property
    def outlet(self) -> Offgas:
        """Off-gas behind the fan."""
        return self.fan.outlet

    @property
    def dust(self) -> Stream:
        """All dust caught in this line, at 25 degC: what may go back to the furnace."""
        return _caught(self.pieces.values(), self.inlet.carried.phase)


@dataclass(frozen=True, eq=False)
class Cleaning:
    """The wet cleaning, its pieces in the order the gas meets them."""

    mixing: Piece
    quench: Quench
    tower: Tower
    mist_precipitator: Piece
    dilution: Dilution
    mercury_tower: Piece | None = None
    bypass: Bypass | None = None

    @property
    def pieces(self) -> dict[str, Piece]:
        """By name, in order."""
        names = ("mixing", "quench", "tower", "mist_precipitator", "mercury_tower", "bypass", "dilution")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}

    @property
    def cleaned(self) -> Offgas:
        """Off-gas behind the mist precipitators and a mercury tower, before a by-pass and dilution."""
        return (self.mercury_tower or self.mist_precipitator).outlet

    @property
    def make_up(self) -> FloatN:
        """(N,) [mol/s] of fresh water: sprayed, less what the tower condenses."""
        return self.quench.spray - self.tower.condensate

    @property
    def weak_acid(self) -> Stream:
        """All that leaves with the weak acid, drain of the mist precipitators included."""
        liquor, drain = self.quench.caught, self.mist_precipitator.caught
        assert liquor is not None and drain is not None
        return gathered((liquor, drain), liquor.phase, liquor.T)

    @property
    def weak_acid_strength(self) -> FloatN:
        """(N,) [kg/kg] H2SO4 of acid and water."""
        return strength(self.weak_acid.amount(ACID), self.weak_acid.amount(WATER))


@dataclass(frozen=True, eq=False)
class GasTrainResult:
    """One gas train per scenario.

    lines : by source; cleaning : None where no line goes to the acid plant
    points : by name, "furnace.cooler", "quench": gas, dew point and wall after each piece, and "furnace"
        as the gas enters
    ledger : of the whole; reason : (N,) errors.Reason
    """

    settings: GasTrainSettings
    lines: Mapping[str, GasLine]
    cleaning: Cleaning | None
    points: Mapping[str, Point]
    ledger: Ledger
    reason: IntN

    @property
    def to_acid_plant(self) -> Stream | None:
        """Cleaned and diluted gas before the drying tower; None where no line goes there."""
        return None if self.cleaning is None else self.cleaning.dilution.outlet.gas

    @property
    def carried_on(self) -> Stream | None:
        """Dust, fume, mist and mercury still in the cleaned gas."""
        return None if self.cleaning is None else self.cleaning.dilution.outlet.carried

    @property
    def carried_to_acid(self) -> Stream | None:
        """What the acid of an acid plant takes up of it."""
        parts = self._carried_parts
        return None if parts is None else parts[0]

    @property
    def carried_to_stack(self) -> Stream | None:
        """What an acid plant lets through to its stack."""
        parts = self._carried_parts
        return None if parts is None else parts[1]

    @property
    def _carried_parts(self) -> tuple[Stream, Stream] | None:
        carried, s = self.carried_on, self.settings
        return None if carried is None else taken_up(carried, s.carried_to_acid, s.mercury_to_acid)

    @property
    def to_stack(self) -> dict[str, Offgas]:
        """Off-gas of the lines that go to a stack, with the dust still in it."""
        return {name: line.outlet for name, line in self.lines.items() if line.settings.to == "stack"}

    @property
    def steam(self) -> FloatN:
        """(N,) [kg/s] of all boilers."""
        return sum((line.cooler.steam for line in self.lines.values()), np.zeros(1))


def solve(
    sources: Mapping[str, Source],
    lines: Mapping[str, GasLineSettings],
    s: GasTrainSettings,
    site: SiteSettings,
) -> GasTrainResult:
    """Take the gas of every source to the acid plant or to a stack.

    ``lines`` holds the settings of each source by the same name. All is forward: each piece takes the
    off-gas of the one before; only temperatures are sought, one enclosed root per piece and scenario.
    """
    gas_axis, carried_axis = _axes(sources.values())
    with np.errstate(all="ignore"):  # a scenario without an answer carries nan; its reason says why
        hot = {
            name: _line(_entering(source, gas_axis, carried_axis), lines[name], site)
            for name, source in sources.items()
        }
        cleaned = {name: line.outlet for name, line in hot.items() if line.settings.to == "acid_plant"}
        cleaning = _clean(cleaned, s, site) if cleaned else None
        return assembled(hot, cleaning, s, site)


def assembled(
    lines: Mapping[str, GasLine], cleaning: Cleaning | None, s: GasTrainSettings, site: SiteSettings
) -> GasTrainResult:
    """The train of its pieces."""
    pieces = _by_name(lines, cleaning)
    entering = [_finite(line.inlet) for line in lines.values()]
    reason = first_reason(*entering, *(piece.reason for piece in pieces.values()))
    points = _points(lines, cleaning, s, site)
    return GasTrainResult(s, lines, cleaning, points, _whole(lines, cleaning, pieces), reason)


def dust_back(source: Source, s: GasLineSettings, site: SiteSettings) -> Stream:
    """The dust that the hot line of one source catches, at 25 degC: no share of it asks for a temperature."""
    with np.errstate(all="ignore"):  # a scenario without an answer carries nan; its reason says why
        burnt, _ = burnt_in_hood(_entering(source, *_axes([source])), s, site)
        gas, _, _ = reacted(burnt, s, site)
        dropped, rest = parted(gas.carried, s.cooler_catch)
        caught, _ = parted(rest, s.precipitator_catch)
        return gathered((dropped, caught), caught.phase, cold())


def _line(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> GasLine:
    hooded = hood(inlet, s, site)
    cooled = cooler(hooded.outlet, s, site)
    cleaned = precipitator(cooled.outlet, s, site)
    return GasLine(s, inlet, hooded, cooled, cleaned, fan(cleaned.outlet, s, site))


def _clean(lines: Mapping[str, Offgas], s: GasTrainSettings, site: SiteSettings) -> Cleaning:
    mixed = mixing(lines)
    quenched = quench(mixed.outlet, s, site)
    cooled = tower(quenched.outlet, s, site)
    clear = mist_precipitator(cooled.outlet, s, site)
    washed = mercury_tower(clear.outlet, s) if s.mercury_tower != "none" else None
    outlet = (washed or clear).outlet
    extra = needed(outlet.gas, s) - dry_flow(outlet.gas)
    return Cleaning(mixed, quenched, cooled, clear, dilution(outlet, extra, site), washed)


def _axes(sources: Iterable[Source]) -> tuple[Species, Species]:
    """The S axes of gas and of what it carries: what comes in, and what may be made of it."""
    coming = [stream.phase.names for source in sources for stream in (source.gas, source.dust) if stream]
    gas, carried = _made_of(tuple(coming))
    return species(*gas), species(*carried)


@functools.lru_cache(maxsize=64)
def _made_of(coming: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Substances of the gas, and of what it carries."""
    names = dict.fromkeys((*_GAS_BASIS, *itertools.chain(*coming)))
    for reaction in ALL:
        if key(reaction) in names:
            names |= dict.fromkeys(reaction)
    gas = tuple(n for n in names if n.endswith("(g)"))
    return gas, tuple(n for n in names if n not in gas)


def _entering(source: Source, gas: Species, carried: Species) -> Offgas:
    T = source.gas.T
    dust = on_phase(source.dust, carried) if source.dust is not None else np.zeros((1, len(carried)))
    return Offgas(Stream(gas, on_phase(source.gas, gas), T), Stream(carried, dust, T))


def _finite(inlet: Offgas) -> IntN:
    finite = np.isfinite(inlet.enthalpy())
    return check((~finite, Reason.INPUT_NOT_FINITE))


def _by_name(lines: Mapping[str, GasLine], cleaning: Cleaning | None) -> dict[str, Piece]:
    found = {f"{name}.{piece}": p for name, line in lines.items() for piece, p in line.pieces.items()}
    return found | (cleaning.pieces if cleaning is not None else {})


def _points(
    lines: Mapping[str, GasLine], cleaning: Cleaning | None, s: GasTrainSettings, site: SiteSettings
) -> dict[str, Point]:
    points = {}
    for name, line in lines.items():
        points[name] = Point.at(line.inlet, site.pressure)
        for piece, p in line.pieces.items():
            wall = p.outlet.T - line.settings.wall_below_gas
            if piece == "cooler" and line.cooler.wall is not None:
                wall = line.cooler.wall
            points[f"{name}.{piece}"] = Point.at(p.outlet, site.pressure, wall)
    for piece, p in (cleaning.pieces if cleaning is not None else {}).items():
        if piece in ("mercury_tower", "bypass"):  # points of no use: the gas is that before them
            continue
        points[piece] = Point.at(p.outlet, site.pressure - (0.0 if piece == "mixing" else s.suction))
    return points


def _whole(lines: Mapping[str, GasLine], cleaning: Cleaning | None, pieces: Mapping[str, Piece]) -> Ledger:
    """The ledger of the whole train: what the pieces hand on to each other is left out."""
    inputs = {f"{name}.{what}": e for name, line in lines.items() for what, e in line.inlet.entries.items()}
    outputs: dict[str, Entry] = {}
    heat_out: dict[str, FloatN] = {}
    for name, piece in pieces.items():
        own = {} if name == "mixing" else piece.ledger.inputs
        inputs |= {f"{name}.{what}": e for what, e in own.items() if what not in _PASSED_ON}
        outputs |= {f"{name}.{what}": e for what, e in piece.ledger.outputs.items() if what not in _PASSED_ON}
        heat_out |= {f"{name}.{what}": heat for what, heat in piece.ledger.heat_out.items()}
    for name, line in lines.items():
        if line.settings.to == "stack":
            outputs |= {f"{name}.stack_{what}": e for what, e in line.outlet.entries.items()}
    if cleaning is not None:
        outputs |= {f"cleaned_{what}": e for what, e in cleaning.dilution.outlet.entries.items()}
    return Ledger(inputs, outputs, heat_out)


def _caught(pieces: Iterable[Piece], phase: Species) -> Stream:
    return gathered((p.caught for p in pieces if p.caught is not None), phase, cold())
