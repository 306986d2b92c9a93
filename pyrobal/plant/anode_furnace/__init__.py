"""Fire refining and casting, read in this order: settings, refining, solve, cautions."""

from pyrobal.plant.anode_furnace.cautions import CAUTIONS, SAFETY, cautions
from pyrobal.plant.anode_furnace.settings import AnodeFurnaceSettings
from pyrobal.plant.anode_furnace.solve import AnodeFurnaceResult, solve

__all__ = ["CAUTIONS", "SAFETY", "AnodeFurnaceResult", "AnodeFurnaceSettings", "cautions", "solve"]
