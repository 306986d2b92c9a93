"""What converting gives: streams per second for either kind, and the cycle behind them where it is batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, column
from pyrobal.plant.converting.cycle import Course
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.ledger import Ledger
from pyrobal.streams.mixing import mix
from pyrobal.streams.site import SiteSettings, air_humidity, air_species, moist_air
from pyrobal.streams.stream import Stream


@dataclass(frozen=True, eq=False)
class Cycle:
    """The cycle of batch converting, and how the vessels share the matte.

    course : what one vessel does over time
    matte : (N,) [kg] matte in one cycle, cold matte included; blister : (N,) [kg] copper poured from one
    per_second : (N,) [1/s] cycles begun in the whole plant; time : (N,) [s] of one
    vessels : (N,) [-] vessels busy, a broken number on average
    blowing : (N,) [-] vessels that at some time blow at once when their blows are spread evenly
    hood : (N,) [mol/mol] wet gas behind the hood per wet gas at the mouth
    """

    course: Course
    matte: FloatN
    blister: FloatN
    per_second: FloatN
    time: FloatN
    vessels: FloatN
    blowing: FloatN
    hood: FloatN

    @property
    def hood_gas(self) -> Floats:
        """(N, M) [mol/s] wet gas of one vessel behind the hood over the cycle."""
        return self.course.gas * column(self.hood)

    @property
    def mouth_so2(self) -> Floats:
        """(N, M) [mol/mol] SO2 in the wet gas at the mouth; zero out of blast."""
        return _share(self.course.so2, self.course.gas)

    @property
    def hood_so2(self) -> Floats:
        """(N, M) [mol/mol] SO2 in the wet gas behind the hood; zero out of blast."""
        return _share(self.course.so2, self.hood_gas)


@dataclass(frozen=True, eq=False)
class ConvertingResult:
    """Converting in either way; arrays (N,) or (N, S), per second, those of batch as means of a cycle.

    matte : as received; blister, slag, dust : as they leave, own copper put back not in the blister
    mouth_gas, gas : before and behind the hood; peak_gas : behind it with most SO2, of all vessels that blow
    blast, hood_air : with their moisture; air, industrial : (N,) [mol/s] dry, blown
    oxygen_reacted : (N,) [mol/s] O2
    silica_flux, lime_flux : (N,) [kg/s] wet
    cold_matte, cold_copper : (N,) [kg/s] charged to hold the temperature
    capacity_matte, capacity_copper : (N,) [kg/s] that would hold it, whether charged or not; copper negative
        where the copper blow ends colder for what is charged in it
    copper_blow_reverts : (N,) [kg/s] reverts charged in it; nothing where continuous
    copper_blow_enrichment : (N,) [mol/mol] at which the copper blow would hold it with no cold copper,
        between air and the purity of the oxygen; nan where continuous
    surplus : (N,) [W] heat to spare where continuous; in batch it shows in the temperature
    log10_po2 : (N,) [-] of the oxygen pressure over the copper in atm where continuous, nan in batch
    cycle : None where continuous; reason : (N,) errors.Reason
    """

    settings: ConvertingSettings
    matte: Stream
    blister: Stream
    slag: Stream
    dust: Stream
    mouth_gas: Stream
    gas: Stream
    peak_gas: Stream
    blast: Stream
    hood_air: Stream
    air: FloatN
    industrial: FloatN
    oxygen_reacted: FloatN
    silica_flux: FloatN
    lime_flux: FloatN
    cold_matte: FloatN
    cold_copper: FloatN
    capacity_matte: FloatN
    capacity_copper: FloatN
    copper_blow_reverts: FloatN
    copper_blow_enrichment: FloatN
    surplus: FloatN
    log10_po2: FloatN
    ledger: Ledger
    cycle: Cycle | None
    reason: IntN


def hooded(gas: Stream, ratio: FloatN, site: SiteSettings) -> tuple[Stream, Stream]:
    """Air drawn in at the hood, dry air being ``ratio`` (N,) of the wet gas, and the gas with it."""
    air = Stream(air_species(), moist_air(ratio * gas.total(), air_humidity(site)), site.air_temperature)
    return air, mix(gas, air)


def _share(part: Floats, whole: Floats) -> Floats:
    return np.divide(part, whole, out=np.zeros_like(whole), where=whole > 0)
