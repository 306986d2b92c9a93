"""What a gas train balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.constants import celsius
from pyrobal.plant.gas_train.reactions import BURNING, oxygen
from pyrobal.plant.gas_train.solve import Cleaning, GasLine, GasTrainResult

SULFATES_DECOMPOSE = 920.0  # K, copper sulfate in a gas rich in SO2; from memory
PRECIPITATOR_HOTTEST = celsius(450)  # common practice for a hot electrostatic precipitator
_BURNABLE = 1e-4  # mol O2 per mol of gas that what is left unburnt would take
_ROUNDING = 1e-9  # relative, so that weak acid made up to its strength is not called weaker

SAFETY = (
    "Off-gas holds SO2, SO3 and at times CO far above what is dangerous to life (NIOSH IDLH documentation, "
    "1994: SO2 100 ppm, H2SO4 15 mg/m3, CO 1200 ppm). Weak acid carries arsenic and other poisons. A dew "
    "point is uncertain by 15 K and more. This is a screening balance; local permit and licensed practice "
    "decide"
)


class Caution(NamedTuple):
    """key : reading or setting it belongs to; text : what it means; holds : (N,)."""

    key: str
    text: str
    holds: BoolN


def cautions(r: GasTrainResult) -> list[Caution]:
    """Everything to look at, with the scenarios it holds for; a scenario without an answer has none."""
    with np.errstate(invalid="ignore"):
        found = [*_dew_points(r)]
        for name, line in r.lines.items():
            found += _line(name, line)
        if r.cleaning is not None:
            found += _cleaning(r, r.cleaning)
    return [caution._replace(holds=caution.holds & (r.reason == 0)) for caution in found]


def _dew_points(r: GasTrainResult) -> Iterator[Caution]:
    for name, point in r.points.items():
        if point.margin is not None:
            yield Caution(
                f"gas.{name}.wall_margin",
                "metal here may run below the acid dew point, with the margin asked for: acid condenses and "
                "corrodes it; keep the gas hotter, the walls insulated, the boiler pressure up, or so3_share "
                "and in-leakage down",
                point.margin < r.settings.dew_point_margin,
            )


def _line(name: str, line: GasLine) -> Iterator[Caution]:
    gas = line.hood.outlet
    yield Caution(
        f"gas.{name}.hood.o2",
        "the hood draws too little air to burn the gas out: CO, hydrogen or sulfur vapour goes on and may "
        "explode in flues and precipitators; raise hood_air",
        oxygen(gas, BURNING) > _BURNABLE * gas.gas.total(),
    )
    yield Caution(
        f"gas.{name}.cooler.temperature",
        "sulfates are taken to form although the gas leaves hotter than they last; lower sulfation",
        (line.settings.sulfation > 0.0) & (line.cooler.outlet.T > SULFATES_DECOMPOSE),
    )
    yield Caution(
        f"gas.{name}.precipitator.temperature",
        f"the precipitator runs above {PRECIPITATOR_HOTTEST - 273.15:.0f} degC (common practice); "
        "cool the gas further",
        line.precipitator.outlet.T > PRECIPITATOR_HOTTEST,
    )


def _cleaning(r: GasTrainResult, cleaning: Cleaning) -> Iterator[Caution]:
    asked = r.settings.weak_acid_strength * (1.0 - _ROUNDING)
    yield Caution(
        "gas.weak_acid.strength",
        "the gas brings more water than weak acid of the strength asked for takes up: it comes out weaker, "
        "and there is more of it to treat",
        (cleaning.weak_acid_strength < asked) & (cleaning.weak_acid.total() > 0.0),
    )
    yield Caution(
        "gas.weak_acid.mercury",
        "mercury comes, and no tower takes it out of the cleaned gas (gas_train.mercury_tower): what passes "
        "the wash, a share to be measured (mercury_catch), goes into the acid and up the stack",
        (cleaning.weak_acid.element("Hg") > 0.0) & (r.settings.mercury_tower == "none"),
    )
