"""Fire refining and casting, read in this order: settings, refining, solve."""

from pyrobal.plant.anode_furnace.settings import AnodeFurnaceSettings
from pyrobal.plant.anode_furnace.solve import AnodeFurnaceResult, solve

__all__ = ["AnodeFurnaceResult", "AnodeFurnaceSettings", "solve"]
