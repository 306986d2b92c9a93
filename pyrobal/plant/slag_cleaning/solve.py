"""Slag cleaning: slags in; discarded slag, what is won back, power and ledger out."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.errors import Reason
from pyrobal.numerics.newton import Roots
from pyrobal.plant.slag_cleaning.electric_furnace import clean
from pyrobal.plant.slag_cleaning.flotation import float_slag
from pyrobal.plant.slag_cleaning.result import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import gone_cold, mix
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream


def solve(
    slags: Mapping[str, Stream],
    site: SiteSettings,
    s: SlagCleaningSettings,
    fuel: Fuel,
    near: Roots | None = None,
) -> SlagCleaningResult:
    """Clean the slags; ``near`` is the ``root`` of a balance close by, to seek from.

    slags : "smelting_slag", "converting_slag" -> Stream as tapped; any other name arrives hot
    fuel : the reductant of the electric furnace

    Electric furnace: see ``melt``. Flotation: see ``flotation``. None: the slags are put together, no more.
    References: Davenport, King, Schlesinger & Biswas 2002, Extractive Metallurgy of Copper, 4th ed.,
    chapter on copper loss in slag; correlations as named in ``thermo.solutions``.
    """
    if s.kind == "flotation":
        return float_slag(slags, s)
    if s.kind == "none":
        return _passed(slags, s)
    arriving = {name: _as_it_arrives(name, stream, s) for name, stream in slags.items()}
    fed = sum((stream.elements() for stream in slags.values()), np.zeros((1, 1)))
    return clean(arriving, fed, site, s, fuel, near)


def _as_it_arrives(name: str, stream: Stream, s: SlagCleaningSettings) -> Stream:
    return gone_cold(stream) if getattr(s, name, "hot") == "cold" else stream


def _passed(slags: Mapping[str, Stream], s: SlagCleaningSettings) -> SlagCleaningResult:
    slag = mix(*slags.values())
    finite = np.isfinite(slag.n).all(axis=1) & np.isfinite(slag.T)
    ledger = Ledger({name: Entry.of(stream) for name, stream in slags.items()}, {"slag": Entry.of(slag)})
    return SlagCleaningResult(
        settings=s,
        fed=slag.mass(),
        fed_copper=slag.element("Cu"),
        slag=slag,
        ledger=ledger,
        reason=np.where(finite, Reason.SOLVED, Reason.INPUT_NOT_FINITE).astype(np.int64),
    )
