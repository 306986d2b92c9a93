"""How well a smelter measures, where nobody says: standard deviations by common practice."""

from __future__ import annotations

import re
from typing import Final

from pyrobal.constants import PERCENT
from pyrobal.fields import Deviation
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.readings import registry
from pyrobal.studies.spread import assay_deviation
from pyrobal.studies.variable import variables


def _relative(percent: float) -> Deviation:
    return Deviation(percent * PERCENT, relative=True)


# The first pattern that a key matches, in plain words beside it; the size is SI where it is not relative.
_USUAL: Final[tuple[tuple[str, Deviation], ...]] = (
    (r"concentrate\..*\.share", _relative(1)),
    (r"(concentrate|revert)\..*\.rate|charge\.rate|feed\..*rate|.*\.flux\..*", _relative(1)),  # belt weighers
    (r".*moisture.*|feed\.water", _relative(3)),
    (r".*temperature", Deviation(15.0)),  # pyrometers; K
    (r".*\.oxygen\..*", _relative(1)),
    (r".*oxygen_per_tonne", _relative(1)),
    (r".*(enrichment|oxygen_purity)", Deviation(0.3 * PERCENT)),
    (r".*(so2|so2_dry|so2_stack.*)", _relative(1.5)),  # analysers
    (r".*gas.*\.(o2|n2|co2|h2o)", _relative(3)),
    (r".*(flow_wet|flow_dry|\.air|process_gas)", _relative(2.5)),
    (r".*\.fuel", _relative(2)),
    (r".*heat.*", _relative(5)),  # cooling water
    (r".*matte\.(grade|assay\.Cu)|.*matte_grade", Deviation(0.4 * PERCENT)),
    (r".*slag\.(copper|assay\.Cu)|.*slag_copper", _relative(5)),
    (r".*slag\.(magnetite|assay\.Fe3O4)|.*slag_magnetite", _relative(9)),  # magnetic balance
    (r".*(fe_sio2|cao_sio2)|.*slag\.assay\.(Fe|FeO|SiO2|CaO|Al2O3|MgO)", _relative(1.5)),
    (r".*slag\.rate", _relative(10)),  # ladles counted
    (r".*(matte|blister)\.rate", _relative(3)),  # ladles weighed
    (r".*dust(\.rate)?", _relative(15)),
    (r"acid\.production", _relative(1)),
    (r"stock\..*\.assay\..*", _relative(2)),
    (r"stock\..*", _relative(5)),
)
_OTHER: Final = _relative(5)
_MINERAL: Final = re.compile(r"(?:concentrate|flux|revert)\..*\.assay\.(?P<component>\w+)")


def usual_deviation(key: str) -> Deviation:
    """The standard deviation that a measurement of ``key`` usually has."""
    if match := _MINERAL.fullmatch(key):
        return Deviation(assay_deviation(match["component"]), relative=True)
    return next((found for pattern, found in _USUAL if re.fullmatch(pattern, key)), _OTHER)


_ASSAYED: Final = ("Cu", "Fe", "S", "SiO2", "As")
_READ: Final = (
    "smelting.enrichment", "smelting.matte.grade", "smelting.matte.temperature", "smelting.slag.temperature",
    "smelting.oxygen.industrial", "smelting.air", "smelting.fuel", "smelting.flux.silica",
    "smelting.matte.rate", "smelting.slag.rate", "smelting.slag.copper", "smelting.slag.magnetite",
    "smelting.slag.fe_sio2", "smelting.slag.assay.SiO2", "smelting.gas.flow_dry", "smelting.gas.so2_dry",
    "smelting.dust.rate", "gas.steam", "acid.inlet_flow", "acid.inlet_so2", "acid.production",
    "converting.blister.rate", "converting.slag.copper",
)  # fmt: skip


def usual_columns(inputs: Inputs, results: Results) -> list[str]:
    """The keys that a plant like this usually measures: feed, blast, products, gas."""
    known, present = variables(inputs), set(registry.keys(results))
    found = []
    for c in inputs.concentrate:
        head = f"concentrate.{c.name}"
        names = ("rate" if c.rate is not None else "share", "moisture", *(f"assay.{x}" for x in _ASSAYED))
        found += [
            f"{head}.{n}" for n in names if (v := known.get(f"{head}.{n}")) and v.value(inputs) is not None
        ]
    return [*found, *(key for key in _READ if key in present)]
