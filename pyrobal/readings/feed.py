"""Readings of the feed and its drying."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.dryer import DryerResult
from pyrobal.readings.assay import OXIDES, oxide_factor
from pyrobal.readings.reading import ROUND_OFF, Reading
from pyrobal.streams.mineralogy import MINERALS
from pyrobal.thermo.elements import ELEMENTS

_NAMES = {substance: name for name, substance in MINERALS.items()}


def _assay_members(r: Results) -> list[str]:
    present = (r.feed.elements > 0).any(axis=0)
    oxides = {element: oxide for oxide, element in OXIDES.items()}
    names = [oxides.get(e, e) for e, there in zip(ELEMENTS, np.atleast_1d(present), strict=True) if there]
    return [name for name in names if name not in ("O", "H", "C")]


def _assay(r: Results, name: str) -> FloatN:
    element = OXIDES.get(name, name)
    mass = r.feed.elements[:, ELEMENTS.index(element)]
    return mass * oxide_factor(name, element) / r.feed.dry_rate


def _mineral_members(r: Results) -> list[str]:
    return [_NAMES.get(substance, substance) for substance in r.feed.minerals()]


def _mineral(r: Results, name: str) -> FloatN:
    return r.feed.mineral(MINERALS.get(name, name))


def _misfit_members(r: Results) -> list[str]:
    elements = dict.fromkeys(e for name in r.feed.concentrates for e in r.feed.fits[name].remainder)
    return [e for e in elements if np.any(r.feed.element_misfit(e) > ROUND_OFF)]


def _dryer(r: Results) -> DryerResult:
    assert r.dryer is not None
    return r.dryer


READINGS = (
    Reading("feed.dry_rate", "t/h", "concentrates, dry", lambda r: r.feed.dry_rate),
    Reading("feed.wet_rate", "t/h", "concentrates as received", lambda r: r.feed.dry_rate + r.feed.water),
    Reading("feed.water", "t/h", "moisture of the concentrates as received", lambda r: r.feed.water),
    Reading("feed.assay.<X>", "wt%", "element or oxide in the dry blend", _assay, _assay_members),
    Reading(
        "feed.minerals.<X>", "wt%", "mineral in the dry blend, from the assays", _mineral, _mineral_members
    ),
    Reading(
        "feed.mineral_misfit",
        "wt%",
        "assay that no usual mineral explains, root of squares over the elements",
        lambda r: r.feed.misfit(),
    ),
    Reading(
        "feed.misfit.<X>",
        "wt%",
        "element that no usual mineral explains, held as its plain oxide or native",
        lambda r, element: r.feed.element_misfit(element),
        _misfit_members,
    ),
    Reading("dryer.evaporated", "t/h", "water driven off", lambda r: _dryer(r).evaporated, needs="dryer"),
    Reading(
        "dryer.fuel_heat", "MW", "fuel fired, by lower heating value", lambda r: _dryer(r).heat, needs="dryer"
    ),
    Reading("dryer.gas.flow_wet", "Nm3/h", "dryer gas", lambda r: _dryer(r).gas.total(), needs="dryer"),
)
