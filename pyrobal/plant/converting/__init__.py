"""Converting of matte to blister copper.

Read in this order: settings, deportment, melts, heat, blast, feed, result; vessel, blow, moment, schedule,
cycle and batch for batch converting; continuous; limits and solve.
"""

from pyrobal.plant.converting.cautions import CAUTIONS, SAFETY, cautions
from pyrobal.plant.converting.feed import BLOWS
from pyrobal.plant.converting.result import ConvertingResult
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.plant.converting.solve import solve

__all__ = ["BLOWS", "CAUTIONS", "SAFETY", "ConvertingResult", "ConvertingSettings", "cautions", "solve"]
