"""Slag cleaning.

Read in this order: settings, phases, melt, result, electric_furnace, flotation, solve, cautions.
"""

from pyrobal.plant.slag_cleaning.cautions import CAUTIONS, SAFETY, cautions
from pyrobal.plant.slag_cleaning.result import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.plant.slag_cleaning.solve import solve

__all__ = ["CAUTIONS", "SAFETY", "SlagCleaningResult", "SlagCleaningSettings", "cautions", "solve"]
