"""Feed: concentrates, reverts and fluxes, from assays to streams of known minerals."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, column, total
from pyrobal.constants import PERCENT, TONNE_PER_HOUR, celsius
from pyrobal.errors import Reason
from pyrobal.fields import Deviation, choice, deviations, mass_fractions, quantity, text
from pyrobal.streams.material import WATER_MASS, Material
from pyrobal.streams.mineralogy import MineralFit, fit
from pyrobal.streams.mixing import cold
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS
from pyrobal.thermo.properties import species


@dataclass(frozen=True, kw_only=True)
class ConcentrateSettings:
    """One concentrate of the blend."""

    name: str = text("name of the concentrate")
    rate: FloatN | None = quantity(
        "t/h", "dry solids", default=None, low=0.0, high=2000 * TONNE_PER_HOUR,
        usual=(0.1 * TONNE_PER_HOUR, 400 * TONNE_PER_HOUR),
    )  # fmt: skip
    share: FloatN | None = quantity(
        "wt%", "share of the dry blend, with [charge] rate", default=None, low=0.0, high=1.0
    )
    moisture: FloatN = quantity("wt%", "water, of the wet mass", default=8 * PERCENT, low=0.0, high=0.5)
    temperature: FloatN = quantity(
        "degC", "temperature as fed", default=celsius(25), low=celsius(-40), high=celsius(300)
    )
    assay: dict[str, FloatN] = mass_fractions("elements and oxides, wt% of dry solids")
    precision: dict[str, Deviation] = deviations("standard deviation of a line of the assay")
    minerals: dict[str, FloatN] = mass_fractions(
        "measured minerals, wt% of dry solids; without an assay they make up the concentrate", "minerals"
    )
    insol: dict[str, FloatN] = mass_fractions(
        "what insol of the assay is made of, wt% of it; else 80 SiO2, 13 Al2O3, 4 K2O, 3 MgO", "insol"
    )


FLUXES = ("silica", "lime")


@dataclass(frozen=True, kw_only=True)
class FluxSettings:
    """A flux; its rate follows from the slag target."""

    moisture: FloatN = quantity("wt%", "water, of the wet mass", default=3 * PERCENT, low=0.0, high=0.5)
    assay: dict[str, FloatN] = mass_fractions("elements, oxides and carbonates, wt% of dry solids")
    precision: dict[str, Deviation] = deviations("standard deviation of a line of the assay")


@dataclass(frozen=True, kw_only=True)
class RevertSettings:
    """A cold material put back: skulls, dust, scrap."""

    name: str = text("name of the revert")
    to: str = choice("where it goes", ("smelting", "converting", "anode_furnace"), default="smelting")
    stage: str | None = choice(
        "with converting: the blow it is charged in; default copper_blow for copper_scrap, else slag_blow",
        ("slag_blow", "copper_blow"), default=None,
    )  # fmt: skip
    rate: FloatN = quantity(
        "t/h", "dry solids", low=0.0, high=1000 * TONNE_PER_HOUR,
        usual=(0.01 * TONNE_PER_HOUR, 100 * TONNE_PER_HOUR),
    )  # fmt: skip
    kind: str = choice("what it is made of", ("matte", "slag", "dust", "copper_scrap"), default="matte")
    moisture: FloatN = quantity("wt%", "water, of the wet mass", default=0.0, low=0.0, high=0.5)
    assay: dict[str, FloatN] = mass_fractions("elements and oxides, wt% of dry solids")

    @property
    def place(self) -> str:
        """The step it is charged to; of converting, the blow."""
        if self.to != "converting":
            return self.to
        return self.stage or ("copper_blow" if self.kind == "copper_scrap" else "slag_blow")


@dataclass(frozen=True, kw_only=True)
class ChargeSettings:
    """The blend as a whole."""

    rate: FloatN | None = quantity(
        "t/h", "total dry concentrate, only with shares",
        default=None, low=0.0, high=2000 * TONNE_PER_HOUR, usual=(5 * TONNE_PER_HOUR, 500 * TONNE_PER_HOUR),
    )  # fmt: skip
    moisture_after_drying: FloatN = quantity(
        "%",
        "water left in the dried blend, of wet mass; only with a dryer",
        default=0.2 * PERCENT,
        low=0.0,
        high=0.5,
    )


TRACE_OF_A_MINERAL = 1e-6  # share below which a mineral is round-off of the fit and not listed


@dataclass(frozen=True, eq=False)
class FeedResult:
    """The blend as received, and the other solids, each made of known minerals.

    concentrates : name -> Stream of minerals and H2O(l), at its own temperature
    fits : name -> mineral fit, of concentrates, fluxes and reverts
    rates : name -> (N,) [kg/s] dry concentrate
    reverts : step, or blow of converting -> Material; fluxes : name -> Material per kilogram of dry flux
    reason : (N,) errors.Reason
    """

    concentrates: Mapping[str, Stream]
    fits: Mapping[str, MineralFit]
    rates: Mapping[str, FloatN]
    reverts: Mapping[str, Material]
    fluxes: Mapping[str, Material]
    reason: IntN

    @property
    def dry_rate(self) -> FloatN:
        """(N,) [kg/s] dry concentrates."""
        return total(self.rates.values())

    @property
    def water(self) -> FloatN:
        """(N,) [kg/s] moisture of the concentrates as received."""
        return total(stream.amount("H2O(l)") for stream in self.concentrates.values()) * WATER_MASS

    @property
    def elements(self) -> Floats:
        """(N, E) [kg/s] elements in the dry blend."""
        n = total(s.elements() - _water_elements(s) for s in self.concentrates.values())
        return n * ATOMIC_MASS

    def mineral(self, name: str) -> FloatN:
        """(N,) [kg/kg] of one substance in the dry blend."""
        mass = (
            f.x[:, f.phase.index(name)] * self.rates[c] for c, f in self._blend() if name in f.phase.names
        )
        return total(mass) / self.dry_rate

    def minerals(self) -> list[str]:
        """Substances present in the blend of any scenario."""
        names = dict.fromkeys(
            n
            for _, f in self._blend()
            for n, x in zip(f.phase.names, f.x.T, strict=True)
            if x.max() > TRACE_OF_A_MINERAL
        )
        return list(names)

    def misfit(self) -> FloatN:
        """(N,) [kg/kg] remainder of the assay fit, the blend's mean by rate."""
        return total(f.misfit * self.rates[c] for c, f in self._blend()) / self.dry_rate

    def element_misfit(self, element: str) -> FloatN:
        """(N,) [kg/kg] of one element left in plain form."""
        parts = (f.remainder[element] * self.rates[c] for c, f in self._blend() if element in f.remainder)
        return total(parts) / self.dry_rate

    def _blend(self) -> list[tuple[str, MineralFit]]:
        return [(name, self.fits[name]) for name in self.concentrates]


def solve(
    concentrates: tuple[ConcentrateSettings, ...],
    charge: ChargeSettings,
    fluxes: Mapping[str, FluxSettings],
    reverts: tuple[RevertSettings, ...],
) -> FeedResult:
    """Turn assays into streams: see ``streams.mineralogy.fit`` for how minerals are chosen."""
    fits = {c.name: fit(c.assay, "concentrate", c.minerals, c.insol) for c in concentrates}
    rates = {c.name: _dry_rate(c, charge) for c in concentrates}
    streams = {c.name: _stream(fits[c.name], rates[c.name], c.moisture, c.temperature) for c in concentrates}
    flux_fits = {name: fit(f.assay, "flux") for name, f in fluxes.items()}
    flux = {n: _material(flux_fits[n], np.ones(1), fluxes[n].moisture) for n in fluxes}
    revert_fits = {r.name: fit(r.assay, r.kind) for r in reverts}
    back: dict[str, Material] = {}
    for r in reverts:
        material = _material(revert_fits[r.name], r.rate, r.moisture)
        back[r.place] = back[r.place] + material if r.place in back else material
    every = {
        **fits,
        **{f"flux.{n}": f for n, f in flux_fits.items()},
        **{f"revert.{n}": f for n, f in revert_fits.items()},
    }
    reason = _reasons(every.values())
    return FeedResult(streams, every, rates, back, flux, reason)


def assay_of(c: ConcentrateSettings) -> dict[str, FloatN]:
    """Lines of the assay, and the elements that its minerals hold, (N,) [kg/kg] of dry solids."""
    held = zip(ELEMENTS, fit(c.assay, "concentrate", c.minerals, c.insol).elements.T, strict=True)
    return {element: x for element, x in held if np.any(x > 0)} | c.assay


def _dry_rate(c: ConcentrateSettings, charge: ChargeSettings) -> FloatN:
    if c.rate is not None:
        return c.rate
    if c.share is None or charge.rate is None:
        raise ValueError(
            f"concentrate {c.name!r} needs a rate, or a share together with the rate of the charge"
        )
    return c.share * charge.rate


def _stream(f: MineralFit, rate: FloatN, moisture: FloatN, T: FloatN) -> Stream:
    """Minerals and moisture, (N, S) [mol/s], of ``rate`` (N,) [kg/s] dry solids."""
    phase = species(*f.phase.names, "H2O(l)")
    dry, water = f.x / f.phase.molar_mass, moisture / (1.0 - moisture) / WATER_MASS  # mol/kg dry
    n = max(len(dry), len(water))
    wet = np.concatenate([np.broadcast_to(x, (n, x.shape[1])) for x in (dry, column(water))], axis=1)
    return Stream(phase, wet * column(rate), T)


def _material(f: MineralFit, rate: FloatN, moisture: FloatN) -> Material:
    return Material.of(_stream(f, rate, moisture, cold()))


def _reasons(fits: Iterable[MineralFit]) -> IntN:
    good = functools.reduce(np.logical_and, (f.ok for f in fits))
    return np.where(good, Reason.SOLVED, Reason.ASSAY_IMPOSSIBLE).astype(np.int64)


def _water_elements(stream: Stream) -> Floats:
    water = np.zeros(len(ELEMENTS))
    water[ELEMENTS.index("H")], water[ELEMENTS.index("O")] = 2.0, 1.0
    return column(stream.amount("H2O(l)")) * water
