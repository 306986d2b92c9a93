"""What slag cleaning gives, whatever its kind."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pyrobal.arrays import FloatN, IntN
from pyrobal.numerics.newton import Roots
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Ledger
from pyrobal.streams.stream import Stream


def _none() -> FloatN:
    return np.zeros(1)


@dataclass(frozen=True, eq=False, kw_only=True)
class SlagCleaningResult:
    """One balance per scenario; streams a kind does not have are None.

    fed : (N,) [kg/s] slag that comes in; fed_copper : (N,) [mol/s] of copper with it
    slag : what is discarded: cleaned slag, tailings (cold) or the slag as it came
    matte, gas, dust, air : of the electric furnace; gas after the air drawn in has burnt it
    concentrate : slag concentrate, cold, its moisture as H2O(l)
    reductant : (N,) [unit/s] of ``unit_reductant``
    suspended : (N,) [kg/kg] copper in the discarded slag as matte that did not settle
    power : (N,) [W] drawn from the grid; surplus : (N,) [W] heat to spare in the bath
    reason : (N,) errors.Reason; root : of the solver, None where nothing was sought
    """

    settings: SlagCleaningSettings
    fed: FloatN
    fed_copper: FloatN
    slag: Stream
    matte: Stream | None = None
    gas: Stream | None = None
    dust: Stream | None = None
    air: Stream | None = None
    concentrate: Stream | None = None
    reductant: FloatN = field(default_factory=_none)
    unit_reductant: Fuel | None = None
    suspended: FloatN = field(default_factory=_none)
    power: FloatN = field(default_factory=_none)
    surplus: FloatN = field(default_factory=_none)
    ledger: Ledger
    reason: IntN
    root: Roots | None = None

    @property
    def recovery(self) -> FloatN:
        """(N,) share of the copper fed that is not discarded."""
        return 1.0 - self.slag.element("Cu") / self.fed_copper

    @property
    def power_per_mass(self) -> FloatN:
        """(N,) [J/kg] power per mass of slag fed."""
        return self.power / self.fed
