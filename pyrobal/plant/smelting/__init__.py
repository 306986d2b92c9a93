"""The smelting furnace.

Read in this order: settings, deportment, supply, blast, equilibrium, matte, melt, furnace, solve.
"""

from pyrobal.plant.smelting.furnace import Charge
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.solve import SmeltingResult, solve

__all__ = ["Charge", "SmeltingResult", "SmeltingSettings", "solve"]
