"""The gas train, read in this order: settings, offgas, reactions, hot, cooler, wet, points, solve."""

from pyrobal.plant.gas_train.settings import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainSettings,
)
from pyrobal.plant.gas_train.solve import GasTrainResult, Source, solve

__all__ = [
    "AnodeGasSettings",
    "ConverterGasSettings",
    "GasLineSettings",
    "GasTrainResult",
    "GasTrainSettings",
    "Source",
    "solve",
]
