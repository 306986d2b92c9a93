"""Converting: the door to both kinds."""

from __future__ import annotations

import numpy as np

from pyrobal.errors import CaseError, Fault
from pyrobal.plant.converting.batch import solve_batch
from pyrobal.plant.converting.continuous import solve_continuous
from pyrobal.plant.converting.feed import Charge, Reverts
from pyrobal.plant.converting.result import ConvertingResult
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.material import Material
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream


def solve(
    matte: Stream,
    reverts: Reverts,
    silica: Material | None,
    lime: Material | None,
    site: SiteSettings,
    s: ConvertingSettings,
    rough: bool = False,
) -> ConvertingResult:
    """Convert all of a matte to blister copper; a cycle in few steps where ``rough`` answers will do.

    matte : as tapped, per second; reverts : cold, by blow; silica, lime : per kilogram of dry flux, None
    where the case has none. A batch converter and one with silicate slag use silica, calcium ferrite lime.

    Scenarios that cannot be solved carry a reason and do not disturb the others. Raises CaseError where the
    settings name a way of working that their kind of converter does not have.

    References: Davenport, King, Schlesinger & Biswas 2002, Extractive Metallurgy of Copper, 4th ed.,
    chapters on batch and on continuous converting; correlations as named in ``thermo.coppermaking`` and
    ``thermo.solutions``.
    """
    if wrong := s.contradictions():
        raise CaseError([Fault("case", None, f"converting.{name}", text) for name, text in wrong.items()])
    charge = Charge.of(matte, reverts, silica, lime)
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        if s.kind == "batch":
            return solve_batch(charge, site, s, rough)
        return solve_continuous(charge, site, s)
