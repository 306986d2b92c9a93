"""The ledger at the plant boundary: what comes in from outside and what leaves for good.

It is drawn up from the steps' own ledgers. Streams handed from step to step stand in neither column; if
one were lost or counted twice on the way, an element would not close here.
"""

from __future__ import annotations

from collections.abc import Mapping

from pyrobal.arrays import FloatN, total
from pyrobal.flowsheet.circuit import Circuit, taken_up_by_dust
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.offgas import GasSide
from pyrobal.plant import converting
from pyrobal.plant.dryer import DryerResult
from pyrobal.plant.feed import FeedResult
from pyrobal.streams.ledger import Entry, Ledger

_HANDED_IN = {  # inputs of a step that are products of another, or its own
    "dryer": (),
    "smelting": ("charge", "returned_dust", "cold_charge"),
    "slag_cleaning": ("smelting_slag", "converting_slag"),
    "converting": ("matte", "reverts"),
    "anode_furnace": ("charge",),
    "electrorefining": ("anodes",),
    "acid_plant": ("gas",),
}


def plant_ledger(
    inputs: Inputs, fed: FeedResult, dried: DryerResult | None, c: Circuit, gas: GasSide
) -> Ledger:
    """Everything that crosses the plant boundary.

    Heat out: what each step gives off, and ``between_steps``: what streams lose on their way from one step
    to the next, by skimming, ladling and cooling in heaps.
    """
    steps = step_ledgers(dried, c, gas)
    coming = _from_outside(fed, c, steps)
    leaving = {
        **_copper_products(c),
        **({"smelting.matte_aside": Entry.of(c.aside)} if c.aside is not None else {}),
        **_slags(inputs, c),
        **_gases(inputs, c, gas),
        **({f"dryer.{x}": dried.ledger.outputs[x] for x in ("gas", "dust")} if dried is not None else {}),
    }
    heat = {f"{name}.{item}": value for name, step in steps.items() for item, value in step.heat_out.items()}
    heat["between_steps"] = _between(coming, leaving, steps)
    return Ledger(coming, leaving, heat)


def alone_ledger(gas: GasSide) -> Ledger:
    """The same of an acid plant alone: its own."""
    assert gas.acid_plant is not None
    own = gas.acid_plant.ledger
    return Ledger(
        {f"acid_plant.{name}": entry for name, entry in own.inputs.items()},
        {f"acid_plant.{name}": entry for name, entry in own.outputs.items()},
        {f"acid_plant.{name}": heat for name, heat in own.heat_out.items()},
    )


def step_ledgers(dried: DryerResult | None, c: Circuit | None, gas: GasSide) -> dict[str, Ledger]:
    """The ledgers of the steps a case has, in plant order."""
    found = {
        "dryer": dried,
        **(c.steps() if c is not None else {}),
        "gas_train": gas.gas_train,
        "acid_plant": gas.acid_plant,
    }
    return {name: step.ledger for name, step in found.items() if step is not None}


def _from_outside(fed: FeedResult, c: Circuit, steps: Mapping[str, Ledger]) -> dict[str, Entry]:
    coming = {f"concentrate.{name}": Entry.of(stream) for name, stream in fed.concentrates.items()}
    for place, material in fed.reverts.items():
        if ("converting" if place in converting.BLOWS else place) in steps:
            coming[f"reverts.{place}"] = material.entry
    for name, step in steps.items():
        handed = _HANDED_IN.get(name, ())
        for item, entry in step.inputs.items():
            source = name == "gas_train" and item.rpartition(".")[2] in ("gas", "carried")
            own = name == "dryer" and item in fed.concentrates
            back = name == "smelting" and item in c.back
            if item not in handed and not (source or own or back):
                coming[f"{name}.{item}"] = entry
    return coming


def _copper_products(c: Circuit) -> dict[str, Entry]:
    if c.electrorefining is not None:
        out = c.electrorefining.ledger.outputs
        return {f"electrorefining.{name}": out[name] for name in ("cathode", "slimes", "electrolyte")}
    if c.anode_furnace is not None:
        return {"anode_furnace.anodes": c.anode_furnace.ledger.outputs["anodes"]}
    if c.converting is not None:
        return {"converting.blister": c.converting.ledger.outputs["blister"]}
    return {"smelting.matte": Entry.of(c.smelting.matte_made)}


def _slags(inputs: Inputs, c: Circuit) -> dict[str, Entry]:
    if c.slag_cleaning is not None:
        leaving = {"slag_cleaning.slag": c.slag_cleaning.ledger.outputs["slag"]}
        leaving |= {
            f"slag_cleaning.{n}": e for n, e in c.slag_cleaning.ledger.outputs.items() if n in ("gas", "dust")
        }
        if inputs.emissions is not None and (dust := leaving.get("slag_cleaning.dust")) is not None:
            caught = inputs.emissions.slag_cleaning_dust_catch
            leaving["slag_cleaning.dust"] = dust.scaled(caught)
            leaving["slag_cleaning.emitted_dust"] = dust.scaled(1.0 - caught)
    else:
        leaving = {"smelting.slag": c.smelting.ledger.outputs["slag"]}
    if c.converting is not None and inputs.recycle.converting_slag == "discard":
        leaving["converting.slag"] = c.converting.ledger.outputs["slag"]
    if c.anode_furnace is not None and inputs.recycle.anode_slag == "discard":
        leaving["anode_furnace.slag"] = c.anode_furnace.ledger.outputs["slag"]
    return leaving


def _gases(inputs: Inputs, c: Circuit, gas: GasSide) -> dict[str, Entry]:
    leaving = _past_the_hoods(inputs, c)
    back = c.back
    if gas.gas_train is None:
        kept = {"smelting": c.smelting.dust_returned, "converting": back.get("converting_dust")}
        for name, step in (
            ("smelting", c.smelting),
            ("converting", c.converting),
            ("anode_furnace", c.anode_furnace),
        ):
            if step is not None:
                leaving[f"{name}.gas"] = _less(Entry.of(step.gas), leaving.get(f"{name}.escaped_gas"))
                put_back = kept.get(name)
                dust = _less(Entry.of(step.dust), leaving.get(f"{name}.escaped_dust"))
                leaving[f"{name}.dust"] = _less(dust, None if put_back is None else Entry.of(put_back))
        for name, gases in taken_up_by_dust(
            inputs, c
        ).items():  # they leave the gas, and come back with the dust
            leaving[f"{name}.gas"] = _less(leaving[f"{name}.gas"], Entry.of(gases))
            leaving[f"{name}.dust"] = leaving[f"{name}.dust"] + Entry.of(gases)
        return leaving
    for name, entry in gas.gas_train.ledger.outputs.items():
        to_acid = name in ("cleaned_gas", "cleaned_carried") and gas.acid_plant is not None
        if not name.endswith(".dust") and not to_acid:
            leaving[f"gas_train.{name}"] = entry
    returned = {"furnace": back.get("furnace_dust"), "converter": back.get("converting_dust")}
    for line, x in gas.gas_train.lines.items():
        put_back = returned.get(line)
        leaving[f"gas_train.{line}.dust"] = _less(
            Entry.of(x.dust), None if put_back is None else Entry.of(put_back)
        )
    if gas.acid_plant is not None:
        carried = {"to_acid": gas.gas_train.carried_to_acid, "to_stack": gas.gas_train.carried_to_stack}
        leaving |= {f"gas_train.carried_{to}": Entry.of(x) for to, x in carried.items() if x is not None}
        leaving |= {f"acid_plant.{name}": entry for name, entry in gas.acid_plant.ledger.outputs.items()}
    return leaving


def _past_the_hoods(inputs: Inputs, c: Circuit) -> dict[str, Entry]:
    if inputs.emissions is None:
        return {}
    shares = {"smelting": inputs.emissions.smelting_escape, "converting": inputs.emissions.converting_escape}
    steps = {"smelting": c.smelting, "converting": c.converting}
    leaving: dict[str, Entry] = {}
    for name, step in steps.items():
        if step is not None:
            leaving[f"{name}.escaped_gas"] = Entry.of(step.gas.scaled(shares[name]))
            if name != "smelting" or inputs.gas_train is not None:  # else put back before it meets a hood
                leaving[f"{name}.escaped_dust"] = Entry.of(step.dust.scaled(shares[name]))
    return leaving


def _less(entry: Entry, part: Entry | None) -> Entry:
    return entry if part is None else entry - part


def _between(
    coming: Mapping[str, Entry], leaving: Mapping[str, Entry], steps: Mapping[str, Ledger]
) -> FloatN:
    """Heat that streams handed on lose on their way: what the steps hand out less what the steps take in."""
    handed_out = total(e.enthalpy for step in steps.values() for e in step.outputs.values())
    handed_out = handed_out - total(e.enthalpy for e in leaving.values())
    taken_in = total(e.enthalpy for step in steps.values() for e in step.inputs.values())
    return handed_out - (taken_in - total(e.enthalpy for e in coming.values()))
