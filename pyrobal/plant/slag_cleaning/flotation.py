"""Slow cooling, grinding and flotation: the slag split into concentrate and tailings, nothing transformed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, IntN, column
from pyrobal.errors import Reason
from pyrobal.plant.slag_cleaning.result import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import cold, gone_cold, mix
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.properties import Species, species

_COPPER = ELEMENTS.index("Cu")
_FLOATING = ("Cu", "S", "Se", "Te", "Au", "Ag")  # a compound that holds one of these floats with the copper


def float_slag(slags: Mapping[str, Stream], s: SlagCleaningSettings) -> SlagCleaningResult:
    """Cool, mill and float.

    The copper assays of the slag and of both products fix the split (two-product formula):
    concentrate = (copper - tailings_copper x slag) / (concentrate_grade - tailings_copper),
    recovery = concentrate_grade x concentrate / copper.
    Compounds of copper, sulfides and precious metals float in that share, gangue makes up the concentrate:
    gangue share = (concentrate - floated) / gangue of the slag.
    All heat of the slag is lost in cooling. Milling power does not warm the products (an assumption).
    """
    cold = mix(*(gone_cold(stream) for stream in slags.values()))
    mass = cold.species_mass()
    floating = floats(cold.phase)
    copper = cold.n @ cold.phase.composition[:, _COPPER] * ATOMIC_MASS_OF["Cu"]
    floatable, gangue = mass[:, floating].sum(axis=1), mass[:, ~floating].sum(axis=1)
    surplus = copper - s.tailings_copper * (floatable + gangue)
    with np.errstate(all="ignore"):
        made = surplus / (s.concentrate_grade - s.tailings_copper)
        recovery = s.concentrate_grade * made / copper
        drawn = (made - recovery * floatable) / gangue
    recovered = np.where(floating, column(recovery), column(drawn))
    concentrate = Stream(cold.phase, cold.n * recovered, cold.T)
    tailings = Stream(cold.phase, cold.n * (1.0 - recovered), cold.T)
    reason = _reasons(cold.n, surplus, drawn)
    return _parted(slags, s, concentrate, tailings, reason)


def floats(phase: Species) -> BoolN:
    """(S,) True for the compounds that float."""
    rows: Floats = phase.composition[:, [ELEMENTS.index(e) for e in _FLOATING]]
    return np.asarray(rows.any(axis=1))


def _parted(
    slags: Mapping[str, Stream], s: SlagCleaningSettings, dry: Stream, tailings: Stream, reason: IntN
) -> SlagCleaningResult:
    phase = species(*dry.phase.names, "H2O(l)")
    per_mole = phase.molar_mass[-1]
    water = dry.mass() * s.concentrate_moisture / (1.0 - s.concentrate_moisture) / per_mole
    concentrate = Stream(phase, np.stack(np.broadcast_arrays(*dry.n.T, water), axis=1), dry.T)
    cold_water = Stream(species("H2O(l)"), column(water), cold())
    inputs = {name: Entry.of(stream) for name, stream in slags.items()}
    inputs["process_water"] = Entry.of(cold_water)
    outputs = {"slag": Entry.of(tailings), "concentrate": Entry.of(concentrate)}
    cooling = sum((stream.sensible_heat() for stream in slags.values()), np.zeros(1))
    fed = dry.mass() + tailings.mass()
    return SlagCleaningResult(
        settings=s,
        fed=fed,
        fed_copper=dry.element("Cu") + tailings.element("Cu"),
        slag=tailings,
        concentrate=concentrate,
        power=fed * s.milling_energy,
        ledger=Ledger(inputs, outputs, {"cooling": cooling}),
        reason=reason,
    )


def _reasons(n: Floats, surplus: FloatN, drawn: FloatN) -> IntN:
    """(N,) why a slag cannot be split so; ``surplus`` (N,) [kg/s] copper beyond tailings of all of it."""
    broken = {
        Reason.INPUT_NOT_FINITE: ~(np.isfinite(n).all(axis=1) & (n.sum(axis=1) > 0)),
        Reason.SLAG_ALREADY_CLEAN: surplus <= 0.0,
        Reason.CONCENTRATE_GRADE_OUT_OF_REACH: ~((drawn >= 0) & (drawn <= 1)),
    }
    return np.select(list(broken.values()), [int(why) for why in broken], Reason.SOLVED).astype(np.int64)
