"""The gas train: hot lines from each furnace, the wet cleaning they share, and what to look at.

Read in this order: settings, offgas, reactions, hot, cooler, wet, points, solve, deliver, cautions.
"""

from pyrobal.plant.gas_train.cautions import SAFETY, Caution, cautions
from pyrobal.plant.gas_train.deliver import deliver
from pyrobal.plant.gas_train.settings import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainSettings,
)
from pyrobal.plant.gas_train.solve import GasTrainResult, Source, dust_back, solve

__all__ = [
    "SAFETY",
    "AnodeGasSettings",
    "Caution",
    "ConverterGasSettings",
    "GasLineSettings",
    "GasTrainResult",
    "GasTrainSettings",
    "Source",
    "cautions",
    "deliver",
    "dust_back",
    "solve",
]
