"""Load of the acid plant over time, read in this order: settings, cycle, schedule, solve."""

from pyrobal.plant.load.cycle import Cycle
from pyrobal.plant.load.settings import LoadSettings
from pyrobal.plant.load.solve import CAUTIONS, Gas, LoadResult, cautions, solve

__all__ = ["CAUTIONS", "Cycle", "Gas", "LoadResult", "LoadSettings", "cautions", "solve"]
