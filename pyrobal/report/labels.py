"""What people call a reading: ``smelting.gas.flow_wet`` is "smelting gas, wet"."""

from __future__ import annotations

from typing import Final

# Parts of a key that are said otherwise, or not at all.
_SAID: Final = {
    "flow_wet": "wet", "flow_dry": "dry", "flow_actual": "actual volume", "rate": "", "assay": "",
    "so2": "SO2", "so2_dry": "SO2, dry", "o2": "O2", "n2": "N2", "co2": "CO2", "h2o": "H2O", "so3": "SO3",
    "so2_load": "SO2 load", "so2_from": "SO2 from", "fe_sio2": "Fe/SiO2", "cao_sio2": "CaO/SiO2",
    "o2_so2": "O2/SO2", "stack_so2": "stack SO2", "so2_per_t_cu": "SO2 per tonne of copper",
}  # fmt: skip
_APART: Final = ("flow_wet", "flow_dry")  # follow a comma


def label(key: str) -> str:
    """The key in words: the place, then the quantity."""
    said = ""
    for part in key.split("."):
        word = _SAID.get(part, part.replace("_", " ").replace("so2", "SO2"))
        if word:
            said += (", " if part in _APART else " " if said else "") + word
    return said
