"""Settings without effect in a case: written ones become cautions, the others need not be assumed."""

from __future__ import annotations

from typing import Final

import numpy as np

from pyrobal.case.schema import fuels_named, tables
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.streams.fuel import ASH_SETTINGS

# Settings that stand in the case always, and the steps without which they say nothing.
ONLY_WITH: Final = {
    "furnace_gas": ("gas_train",),
    "converter_gas": ("gas_train", "converting"),
    "anode_gas": ("gas_train", "anode_furnace"),
    "recycle": ("converting",),
    "recycle.anode_slag": ("anode_furnace",),
}


# What only one kind of a step reads; with the other kinds it says nothing.
ONLY_KIND: Final = {
    ("slag_cleaning", "electric_furnace"): (
        "smelting_slag", "converting_slag", "matte_to", "slag_copper", "slag_entrained_copper",
        "slag_magnetite", "slag_sulfur", "magnetite_over_equilibrium", "matte_activities",
        "slag_temperature", "matte_temperature", "reductant", "reductant_efficiency", "reductant_to_co",
        "hood_air", "heat_loss", "heat_loss_per_tonne", "electrical_efficiency", "distribution", "deportment",
    ),
    ("slag_cleaning", "flotation"): (
        "tailings_copper", "concentrate_grade", "concentrate_moisture", "milling_energy",
    ),
    ("converting", "batch"): (
        "ladle_mass", "first_ladles", "later_ladles", "slag_blows", "charging_interval", "charging_time",
        "skimming_time", "pouring_time", "cycle_time", "vessels", "cut_iron", "white_metal_iron",
        "slag_blow_blast", "copper_blow_blast", "slag_blow_enrichment", "copper_blow_enrichment",
        "slag_blow_oxygen_efficiency", "copper_blow_oxygen_efficiency", "copper_coolant",
    ),
    ("converting", "continuous"): (
        "matte_state", "slag_system", "enrichment", "oxygen_efficiency", "cao_fe",
    ),
}  # fmt: skip

BESIDE_STATED_GAS: Final = ("site.air_temperature", "site.relative_humidity", "site.operating_time")


def without_effect(inputs: Inputs) -> dict[str, str]:
    """Settings that this case leaves without effect, each with the reason."""
    if inputs.acid_feed is not None:
        others = (key for key, _ in tables(inputs) if key not in ("site", "acid_feed", "acid_plant"))
        return dict.fromkeys((*others, *BESIDE_STATED_GAS), "the acid plant stands alone, see [acid_feed]")
    s = inputs.smelting
    unused: dict[str, str | bool] = {
        "charge.moisture_after_drying": inputs.dryer is None and "there is no [dryer]",
        "smelting.matte_grade": s.oxygen_per_tonne is not None and "oxygen_per_tonne is given",
        "smelting.fe_sio2": "silica" not in inputs.flux and "there is no [flux.silica]",
        "smelting.magnetite_over_equilibrium": (s.slag_magnetite is not None and "slag_magnetite is given")
        or (s.slag_magnetite_model != "goto" and 'slag_magnetite_model is "kress_carmichael"'),
        "smelting.ferric_over_equilibrium": (s.slag_magnetite is not None and "slag_magnetite is given")
        or (s.slag_magnetite_model == "goto" and 'slag_magnetite_model is "goto"'),
        "smelting.slag_magnetite_model": s.slag_magnetite is not None and "slag_magnetite is given",
        "smelting.oxidic_copper_over_equilibrium": s.slag_copper is not None and "slag_copper is given",
        "smelting.slag_sulfur_over_equilibrium": s.slag_sulfur is not None and "slag_sulfur is given",
        "smelting.slag_entrained_matte": s.slag_entrained_copper is not None
        and "slag_entrained_copper is given",
        "smelting.slag_copper_model": s.slag_copper is not None and "slag_copper is given",
        "smelting.matte_oxygen_model": (s.matte_oxygen is not None and "matte_oxygen is given")
        or (s.matte_sulfur is not None and "it follows from matte_sulfur"),
        "smelting.dust_sulfation": inputs.gas_train is not None and "it follows from [gas_train]",
        "smelting.enrichment": s.close_heat_with == "enrichment" and "it closes the heat balance",
        "smelting.slag_temperature": s.close_heat_with == "slag_temperature" and "it closes the heat balance",
    }
    if s.close_heat_with != "fuel" and float(s.fuel_minimum[0]) == 0.0:
        unused["smelting.fuel"] = f'the heat balance is closed with "{s.close_heat_with}"'
    for key, node in tables(inputs):
        if getattr(node, "heat_loss", None) is not None:
            unused[f"{key}.heat_loss_per_tonne"] = "heat_loss is given"
    unused |= _by_kind(inputs)
    for section, steps in ONLY_WITH.items():
        missing = [step for step in steps if getattr(inputs, step) is None]
        if missing:
            unused[section] = f"there is no [{missing[0]}]"
    named = {name for key, name in fuels_named(inputs) if key not in unused}
    unused |= {f"fuel.{name}": "no step names it" for name in inputs.fuel if name not in named}
    unused |= _ash(inputs, named)
    return {key: reason for key, reason in unused.items() if isinstance(reason, str)}


def _ash(inputs: Inputs, fired: set[str]) -> dict[str, str | bool]:
    """Only the slag of the smelting furnace takes up ash by its oxides; fired : fuels that a step names."""
    unused: dict[str, str | bool] = {}
    for name, fuel in inputs.fuel.items():
        why: str | bool = name != inputs.smelting.fuel and "[smelting] does not fire it"
        if float(fuel.composition.get("ash", np.zeros(1))[0]) == 0.0:
            why = "the fuel has no ash"
        if name in fired:
            unused |= dict.fromkeys((f"fuel.{name}.{oxide}" for oxide in ASH_SETTINGS), why)
    return unused


def _by_kind(inputs: Inputs) -> dict[str, str | bool]:
    """What the kind of slag cleaning and of converting leaves unread."""
    unused: dict[str, str | bool] = {}
    for (section, kind), names in ONLY_KIND.items():
        node = getattr(inputs, section)
        if node is not None and node.kind != kind:
            unused |= {f"{section}.{name}": f'{section}.kind is "{node.kind}"' for name in names}
    if inputs.slag_cleaning is not None and inputs.converting is None:
        unused |= dict.fromkeys(
            ("slag_cleaning.matte_to", "slag_cleaning.converting_slag"), "there is no [converting]"
        )
    if (converting := inputs.converting) is not None and converting.kind == "continuous":
        ferrite = converting.slag_system == "calcium_ferrite"
        ratio = "fe_sio2" if ferrite else "cao_fe"
        unused[f"converting.{ratio}"] = f'converting.slag_system is "{converting.slag_system}"'
        if converting.matte_state == "solid":
            unused["converting.matte_temperature_drop"] = 'converting.matte_state is "solid"'
        if converting.close_heat_with == "enrichment":
            unused["converting.enrichment"] = "it closes the heat balance"
    return unused
