"""What leaves to the air, read in this order: settings, stack, stacks, permit, upsets."""

from pyrobal.plant.emissions.averaging import AVERAGING_TIMES
from pyrobal.plant.emissions.permit import CAUTIONS, SAFETY, Held, cautions, held
from pyrobal.plant.emissions.settings import STACKS, EmissionsSettings, StackSettings
from pyrobal.plant.emissions.stack import KINDS, METALS, Stack, at_reference
from pyrobal.plant.emissions.stacks import (
    ACID_PLANT,
    SECONDARY,
    EmissionsResult,
    Sulfur,
    Surroundings,
    escape,
    solve,
)
from pyrobal.plant.emissions.upsets import UpsetSettings, yearly

__all__ = [
    "ACID_PLANT", "AVERAGING_TIMES", "CAUTIONS", "KINDS", "METALS", "SAFETY", "SECONDARY", "STACKS",
    "EmissionsResult", "EmissionsSettings", "Held", "Stack", "StackSettings", "Sulfur", "Surroundings",
    "UpsetSettings", "at_reference", "cautions", "escape", "held", "solve", "yearly",
]  # fmt: skip
