"""Slag cleaning, read in this order: settings, phases, melt, electric_furnace, flotation, result, solve."""

from pyrobal.plant.slag_cleaning.result import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.plant.slag_cleaning.solve import solve

__all__ = ["SlagCleaningResult", "SlagCleaningSettings", "solve"]
