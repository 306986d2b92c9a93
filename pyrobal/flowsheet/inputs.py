"""Inputs: the frozen tree of settings of one plant, in SI, over N scenarios.

Its dotted paths are the keys of the case file: ``smelting.enrichment``, ``concentrate.Fenholt.rate``,
``concentrate.Fenholt.assay.Cu``, ``flux.silica.moisture``, ``fuel.natural_gas.composition.CH4``.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pyrobal.arrays import BoolN, FloatN, as_n, leaves, take
from pyrobal.flowsheet.limit import LimitSettings
from pyrobal.flowsheet.recycle import RecycleSettings
from pyrobal.plant.acid_plant import AcidFeedSettings, AcidPlantSettings
from pyrobal.plant.anode_furnace import AnodeFurnaceSettings
from pyrobal.plant.converting import ConvertingSettings
from pyrobal.plant.dryer import DryerSettings
from pyrobal.plant.electrorefining import ElectrorefiningSettings
from pyrobal.plant.emissions import EmissionsSettings, StackSettings, UpsetSettings
from pyrobal.plant.feed import ChargeSettings, ConcentrateSettings, FluxSettings, RevertSettings
from pyrobal.plant.gas_train.settings import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainSettings,
)
from pyrobal.plant.load.settings import LoadSettings
from pyrobal.plant.slag_cleaning import SlagCleaningSettings
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams.fuel import FuelSettings
from pyrobal.streams.site import SiteSettings

# Section of the case file -> its settings; tables of tables and arrays of tables are marked.
SECTIONS: dict[str, type] = {
    "site": SiteSettings,
    "concentrate": ConcentrateSettings,  # array of tables, by name
    "charge": ChargeSettings,
    "dryer": DryerSettings,
    "fuel": FuelSettings,  # table of tables
    "flux": FluxSettings,  # table of tables: silica, lime
    "revert": RevertSettings,  # array of tables, by name
    "smelting": SmeltingSettings,
    "slag_cleaning": SlagCleaningSettings,
    "converting": ConvertingSettings,
    "anode_furnace": AnodeFurnaceSettings,
    "electrorefining": ElectrorefiningSettings,
    "recycle": RecycleSettings,
    "furnace_gas": GasLineSettings,
    "converter_gas": ConverterGasSettings,
    "anode_gas": AnodeGasSettings,
    "gas_train": GasTrainSettings,
    "acid_feed": AcidFeedSettings,
    "acid_plant": AcidPlantSettings,
    "load": LoadSettings,
    "emissions": EmissionsSettings,
    "stack": StackSettings,  # table of tables
    "upset": UpsetSettings,  # table of tables, which hold sections of their own
    "limit": LimitSettings,  # array of tables, by name
}
# Steps that a case has only where it has their section.
OPTIONAL = (
    "dryer", "slag_cleaning", "converting", "anode_furnace", "electrorefining", "gas_train", "acid_feed",
    "acid_plant", "load", "emissions",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Inputs:
    """Everything a plant balance needs; every number (N,) or (1,) in SI."""

    title: str
    concentrate: tuple[ConcentrateSettings, ...]
    site: SiteSettings = field(default_factory=SiteSettings)
    charge: ChargeSettings = field(default_factory=ChargeSettings)
    dryer: DryerSettings | None = None
    fuel: Mapping[str, FuelSettings] = field(default_factory=dict)
    flux: Mapping[str, FluxSettings] = field(default_factory=dict)
    revert: tuple[RevertSettings, ...] = ()
    smelting: SmeltingSettings = field(default_factory=SmeltingSettings)
    slag_cleaning: SlagCleaningSettings | None = None
    converting: ConvertingSettings | None = None
    anode_furnace: AnodeFurnaceSettings | None = None
    electrorefining: ElectrorefiningSettings | None = None
    recycle: RecycleSettings = field(default_factory=RecycleSettings)
    furnace_gas: GasLineSettings = field(default_factory=GasLineSettings)
    converter_gas: ConverterGasSettings = field(default_factory=ConverterGasSettings)
    anode_gas: AnodeGasSettings = field(default_factory=AnodeGasSettings)
    gas_train: GasTrainSettings | None = None
    acid_feed: AcidFeedSettings | None = None
    acid_plant: AcidPlantSettings | None = None
    load: LoadSettings | None = None
    emissions: EmissionsSettings | None = None
    stack: Mapping[str, StackSettings] = field(default_factory=dict)
    upset: Mapping[str, UpsetSettings] = field(default_factory=dict)
    limit: tuple[LimitSettings, ...] = ()

    @property
    def scenarios(self) -> int:
        """N, the longest scenario axis in the tree.

        Raises ValueError where two settings have different lengths above 1.
        """
        lengths = {len(array) for array in leaves(self)} - {1}
        if len(lengths) > 1:
            raise ValueError(f"settings disagree on the number of scenarios: {sorted(lengths)}")
        return lengths.pop() if lengths else 1

    def arrays(self) -> Iterator[tuple[str, FloatN]]:
        """Every number of the tree with its dotted path."""
        yield from _walk("", self)

    def at(self, path: str) -> FloatN | None:
        """One of these numbers; None where there is none, or something else."""
        return _at(self, path.split("."))

    def finite(self) -> BoolN:
        """(N,) True where every number of the scenario is one."""
        numbers = leaves(self)
        one_for_all = [np.zeros(1), *(a for a in numbers if len(a) == 1)]  # there may be none
        shared: BoolN = np.asarray(np.isfinite(np.concatenate(one_for_all)).all(keepdims=True))
        own = (np.isfinite(a) for a in numbers if len(a) > 1)
        return functools.reduce(np.logical_and, own, shared)

    def replace(self, path: str, value: float | FloatN) -> Inputs:
        """A copy with one setting replaced; the others are shared.

        Raises KeyError where the path does not exist.
        """
        new: Inputs = _replace(self, path.split("."), as_n(value), path)
        return new

    def in_upset(self, name: str) -> Inputs:
        """The same plant in the state of one of its upsets."""
        new: Inputs = dataclasses.replace(self, upset={})
        for path, value in self.upset[name].over.items():
            new = _replace(new, path.split("."), value, path)
        return new

    def take(self, rows: slice) -> Inputs:
        """The scenarios of ``rows``; settings shared by all stay shared."""
        part: Inputs = take(self, rows)
        return part


def _walk(path: str, node: Any) -> Iterator[tuple[str, FloatN]]:
    if isinstance(node, np.ndarray):
        yield path, node
    elif dataclasses.is_dataclass(node):
        for f in dataclasses.fields(node):
            yield from _walk(f"{path}.{f.name}" if path else f.name, getattr(node, f.name))
    elif isinstance(node, Mapping):
        for key, value in node.items():
            yield from _walk(f"{path}.{key}", value)
    elif isinstance(node, tuple):
        for value in node:
            yield from _walk(f"{path}.{value.name}", value)


def _at(node: Any, keys: list[str]) -> FloatN | None:
    for key in keys:
        if isinstance(node, Mapping):
            node = node.get(key)
        elif isinstance(node, tuple):
            node = next((item for item in node if item.name == key), None)
        else:
            node = getattr(node, key, None)
    return node if isinstance(node, np.ndarray) else None


def _replace(node: Any, keys: list[str], value: FloatN, path: str) -> Any:
    if not keys:
        return value
    key, rest = keys[0], keys[1:]
    if dataclasses.is_dataclass(node) and not isinstance(node, type) and hasattr(node, key):
        return dataclasses.replace(node, **{key: _replace(getattr(node, key), rest, value, path)})
    if isinstance(node, Mapping) and (key in node or not rest):
        return {**node, key: _replace(node.get(key), rest, value, path)}
    if isinstance(node, tuple) and any(item.name == key for item in node):
        return tuple(_replace(i, rest, value, path) if i.name == key else i for i in node)
    if isinstance(node, tuple) and not rest and dataclasses.is_dataclass(value):
        return (*node, value)
    raise KeyError(path)
