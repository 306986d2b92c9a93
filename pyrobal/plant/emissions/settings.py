"""Settings of the emissions: gas past the hoods, cleaning before the stacks, and the permit."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import HOUR, NM3, NM3_PER_HOUR, TONNE, celsius
from pyrobal.fields import quantity

STACKS = (
    "acid_plant", "bypass", "cleaned_gas", "furnace", "converter", "anode", "slag_cleaning", "secondary",
    "dryer",
)  # fmt: skip
_MG_PER_NM3 = 1e-6 / NM3  # kg/mol
_KILOGRAM_PER_TONNE = 1.0 / TONNE


def _hood_flow(over: str) -> FloatN:
    value: FloatN = quantity(
        "Nm3/h", f"dry gas drawn by the secondary hoods of {over}, air and all",
        default=100_000 * NM3_PER_HOUR, low=0.0, high=2e6 * NM3_PER_HOUR,
        usual=(1000 * NM3_PER_HOUR, 600_000 * NM3_PER_HOUR),
    )  # fmt: skip
    return value


def _dust_catch(stack: str) -> FloatN:
    value: FloatN = quantity(
        "%", f"dust caught by a filter before the stack of {stack}", default=0.995, low=0.0, high=1.0
    )
    return value


@dataclass(frozen=True)
class StackSettings:
    """The conditions at which a permit states the concentrations of one stack: [stack.secondary], ..."""

    reference_oxygen: FloatN | None = quantity(
        "vol%", "oxygen, dry, at which concentrations are stated; else as measured",
        default=None, low=0.0, high=0.20,
    )  # fmt: skip
    reference_moisture: FloatN = quantity(
        "vol%", "water vapour of the gas they refer to; 0 is dry gas", default=0.0, low=0.0, high=0.6
    )
    reference_temperature: FloatN = quantity(
        "degC", "temperature of the cubic metre they refer to, at 101.325 kPa",
        default=celsius(0), low=celsius(0), high=celsius(200),
    )  # fmt: skip


@dataclass(frozen=True)
class EmissionsSettings:
    """Gas past the hoods, scrubbing and filters before the stacks, and the site's own limits.

    Shares escaping, hood flows and filters are common practice and uncertain: measure them.
    """

    smelting_escape: FloatN = quantity(
        "%", "smelting furnace gas that escapes at openings and tap holes", default=0.005, low=0.0, high=0.5
    )
    converting_escape: FloatN = quantity(
        "%", "converter gas that escapes the primary hood", default=0.03, low=0.0, high=0.5
    )
    secondary_capture: FloatN = quantity(
        "%",
        "what secondary hoods catch, of the gas that escapes; 0 without them",
        default=0.9,
        low=0.0,
        high=1.0,
    )
    secondary_scrubbing: FloatN = quantity(
        "%", "SO2 washed out of the secondary hood gas", default=0.0, low=0.0, high=1.0
    )
    secondary_dust_catch: FloatN = _dust_catch("the secondary hoods")
    secondary_flow_furnace: FloatN = _hood_flow("the smelting furnace")
    secondary_flow_vessel: FloatN = _hood_flow("each converting vessel")
    secondary_flow: FloatN | None = quantity(
        "Nm3/h", "dry gas all secondary hoods draw together, as measured; else from the two flows above",
        default=None, low=0.0, high=5e6 * NM3_PER_HOUR,
        usual=(5000 * NM3_PER_HOUR, 1.5e6 * NM3_PER_HOUR),
    )  # fmt: skip
    slag_cleaning_dust_catch: FloatN = _dust_catch("slag cleaning")
    tail_scrubbing: FloatN = quantity(
        "%", "SO2 washed out of the tail gas of the acid plant", default=0.0, low=0.0, high=1.0
    )
    so2_stack_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO2 in any stack without a limit of its own, at its reference oxygen and moisture",
        default=None, low=0.0, high=1e6 * _MG_PER_NM3,
    )  # fmt: skip
    secondary_so2_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO2 in the secondary hood gas, at its reference oxygen and moisture",
        default=None, low=0.0, high=1e6 * _MG_PER_NM3,
    )  # fmt: skip
    mist_limit: FloatN | None = quantity(
        "mg/Nm3", "permit: SO3 and acid mist as H2SO4 in any stack, at its reference oxygen and moisture",
        default=None, low=0.0, high=1e5 * _MG_PER_NM3,
    )  # fmt: skip
    so2_limit: FloatN | None = quantity(
        "kg/h", "permit: SO2 of the whole site, fugitive within", default=None, low=0.0, high=1e6 / HOUR
    )
    so2_per_t_cu_limit: FloatN | None = quantity(
        "kg/t", "permit: SO2 of the whole site per tonne of copper",
        default=None, low=0.0, high=1e4 * _KILOGRAM_PER_TONNE,
    )  # fmt: skip
    so2_per_t_acid_limit: FloatN | None = quantity(
        "kg/t", "permit: SO2 of the first stack per tonne of 100 % acid",
        default=None, low=0.0, high=1e3 * _KILOGRAM_PER_TONNE,
    )  # fmt: skip
    capture_limit: FloatN | None = quantity(
        "%", "permit: least sulfur capture", default=None, low=0.0, high=1.0
    )
