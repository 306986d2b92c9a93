"""The acid plant, read in this order: settings, feed, bed, converter, acid, solve, cautions."""

from pyrobal.plant.acid_plant.cautions import CAUTIONS, SAFETY, cautions
from pyrobal.plant.acid_plant.feed import AcidFeedSettings
from pyrobal.plant.acid_plant.settings import AcidPlantSettings
from pyrobal.plant.acid_plant.solve import AcidPlantResult, solve

__all__ = [
    "CAUTIONS",
    "SAFETY",
    "AcidFeedSettings",
    "AcidPlantResult",
    "AcidPlantSettings",
    "cautions",
    "solve",
]
