"""Load of the acid plant over time, read in this order: settings, cycle, schedule, solve."""

from pyrobal.plant.load.cycle import STEPS, Cycle
from pyrobal.plant.load.settings import LoadSettings
from pyrobal.plant.load.solve import CAUTIONS, PARTS, LoadResult, cautions, solve

__all__ = ["CAUTIONS", "PARTS", "STEPS", "Cycle", "LoadResult", "LoadSettings", "cautions", "solve"]
