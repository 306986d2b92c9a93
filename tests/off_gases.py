"""Small invented off-gases that tests share."""

from __future__ import annotations

from typing import Any

import numpy as np

from pyrobal.arrays import FloatN, as_n
from pyrobal.plant.gas_train import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainResult,
    GasTrainSettings,
    Source,
    solve,
)
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

FURNACE = {
    "SO2(g)": 350.0, "O2(g)": 20.0, "N2(g)": 550.0, "Ar(g)": 8.0, "CO2(g)": 30.0, "H2O(g)": 50.0, "As4O6(g)": 0.3,
    "PbO(g)": 0.05, "Zn(g)": 0.1, "Sb(g)": 0.02, "Bi(g)": 0.01, "SeO2(g)": 0.01, "TeO2(g)": 0.002,
}  # fmt: skip
DUST = {
    "Cu2O": 5.0, "Fe3O4": 3.0, "SiO2": 2.0, "PbO": 0.4, "ZnO": 0.5, "CaO": 0.1, "NiO": 0.02, "As2O3(dust)": 0.1,
    "Rest": 0.1,
}  # fmt: skip
CONVERTER = {"SO2(g)": 150.0, "O2(g)": 5.0, "N2(g)": 790.0, "H2O(g)": 10.0, "S2(g)": 1.0}
ANODE = {"CO(g)": 5.0, "H2(g)": 8.0, "CO2(g)": 10.0, "N2(g)": 60.0, "H2O(g)": 20.0, "SO2(g)": 0.1}


def stream(amounts: dict[str, Any], T: Any) -> Stream:
    """A stream of amounts in mol/s, numbers or lists over scenarios, at T in K."""
    n = np.stack(np.broadcast_arrays(*(np.atleast_1d(x) for x in amounts.values())), axis=1).astype(float)
    return Stream(species(*amounts), n, np.atleast_1d(np.asarray(T, dtype=float)))


def sources(factor: Any = 1.0) -> dict[str, Source]:
    """Furnace, converter and anode furnace, ``factor`` times the usual flow."""

    def times(amounts: dict[str, float]) -> dict[str, Any]:
        return {k: v * np.atleast_1d(factor) for k, v in amounts.items()}

    return {
        "furnace": Source(stream(times(FURNACE), 1623.0), stream(times(DUST), 1623.0)),
        "converter": Source(
            stream(times(CONVERTER), 1500.0), stream(times({"Cu2O": 0.5, "PbO": 0.3}), 1500.0)
        ),
        "anode": Source(stream(times(ANODE), 1500.0)),
    }


def line_settings(**furnace: Any) -> dict[str, GasLineSettings]:
    """Settings of the three lines, those of the furnace as given."""
    return {
        "furnace": GasLineSettings(**arrays(furnace)),
        "converter": ConverterGasSettings(hood_air=as_n(1.0)),
        "anode": AnodeGasSettings(hood_air=as_n(4.0)),  # this gas comes unburnt
    }


def arrays(values: dict[str, Any]) -> dict[str, Any]:
    """Numbers and lists as scenario arrays; words and None as they are."""
    plain = (str, type(None))
    return {
        k: v if isinstance(v, plain) else np.atleast_1d(np.asarray(v, dtype=float)) for k, v in values.items()
    }


def gas_train(
    given: dict[str, Source] | None = None, site: SiteSettings | None = None, train: dict[str, Any] | None = None,
    **furnace: Any,
) -> GasTrainResult:  # fmt: skip
    """The gas train of the sources, settings of the furnace line by name, of the wet cleaning in ``train``."""
    settings = GasTrainSettings(**arrays(train or {}))
    return solve(given or sources(), line_settings(**furnace), settings, site or SiteSettings())


def alone(gas: Stream, dust: Stream | None = None, **line: Any) -> GasTrainResult:
    """One source with no air, loss or reaction but what is asked for; wet cleaning with defaults."""
    still = {
        "hood_air": 0.0, "cooler_leak": 0.0, "cooler_loss": 0.0, "so3_share": 0.0, "sulfation": 0.0,
        "precipitator_leak": 0.0, "precipitator_cooling": 0.0, "fan_pressure": 0.0,
    }  # fmt: skip
    settings = GasLineSettings(**arrays(still | line))
    return solve({"furnace": Source(gas, dust)}, {"furnace": settings}, GasTrainSettings(), SiteSettings())


def one(x: FloatN | None) -> float:
    """The single value of a single scenario."""
    assert x is not None and x.shape == (1,)
    return float(x[0])
