"""The copper circuit once around: smelting to tank house, and what comes back from each step.

The circuit is cut where products go back. ``once_around`` takes what is put back as given and says what
then comes back; ``numerics.recycle`` makes the two equal.
"""

from __future__ import annotations

import functools
import operator
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, take
from pyrobal.flowsheet.foresight import foreseen
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.numerics.newton import Roots
from pyrobal.plant import anode_furnace, converting, electrorefining, gas_train, slag_cleaning
from pyrobal.plant import smelting as furnace
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import cold, gone_cold, mix, on_phase
from pyrobal.streams.stream import Stream
from pyrobal.streams.sulfation import sulfated, taken_up
from pyrobal.thermo.elements import ATOMIC_MASS_OF
from pyrobal.thermo.properties import species


@dataclass(frozen=True, eq=False)
class Feeds:
    """What comes from outside: solids for each step (converting: by blow), fluxes, fuels by name.

    blown : (N,) share of the matte that converting has time for; None for all of it
    """

    smelting: Material
    converting: Mapping[str, Material]
    anode_furnace: Material | None
    concentrate_rate: FloatN
    silica: Material | None
    lime: Material | None
    fuels: Mapping[str, Fuel]
    blown: FloatN | None = None


@dataclass(frozen=True, eq=False)
class Circuit:
    """The steps as they stand when ``back`` is put back; steps the case does not have are None.

    back : name -> stream that was put back; returns : the same streams as they come back
    mattes : step -> its matte that is converted; aside : matte that converting has no time for, None where it
        has time for all
    """

    smelting: furnace.SmeltingResult
    slag_cleaning: slag_cleaning.SlagCleaningResult | None
    converting: converting.ConvertingResult | None
    anode_furnace: anode_furnace.AnodeFurnaceResult | None
    electrorefining: electrorefining.ElectrorefiningResult | None
    back: Mapping[str, Stream]
    returns: Mapping[str, Stream]
    mattes: Mapping[str, Stream]
    aside: Stream | None = None

    @property
    def copper(self) -> FloatN:
        """(N,) [kg/s] in the last copper product of the case that is not refined by electrolysis."""
        product = self.smelting.matte_made
        if self.converting is not None:
            product = self.converting.blister
        if self.anode_furnace is not None:
            product = self.anode_furnace.anodes
        return product.element("Cu") * ATOMIC_MASS_OF["Cu"]

    def onward(self) -> dict[tuple[str, str], Stream]:
        """(from, to) -> what one step hands to the next in this pass."""
        found = {}
        if self.slag_cleaning is not None:
            found["smelting", "slag_cleaning"] = self.smelting.slag
        if self.converting is not None:
            found |= {(step, "converting"): matte for step, matte in self.mattes.items()}
        if self.converting is not None and self.anode_furnace is not None:
            found["converting", "anode_furnace"] = self.converting.blister
        if self.anode_furnace is not None and self.electrorefining is not None:
            found["anode_furnace", "electrorefining"] = self.anode_furnace.anodes
        return found

    def foreseen(self) -> dict[str, Stream]:
        """The returns as they will be once what came back has gone round."""
        taken = {name: step.ledger.elements_in() for name, step in self.steps().items()}
        return foreseen(taken, self.onward(), WAYS, self.back, self.returns, _FLUXED)

    def roots(self) -> dict[str, Roots]:
        """Section -> roots of the steps that are sought by Newton's method."""
        found = {name: getattr(step, "root", None) for name, step in self.steps().items()}
        return {name: root for name, root in found.items() if root is not None}

    def steps(self) -> dict[str, Any]:
        """Section of the case -> result, in plant order."""
        names = ("smelting", "slag_cleaning", "converting", "anode_furnace", "electrorefining")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}


# Way back -> the step it comes from and the step it goes to.
WAYS = {
    "converting_slag": ("converting", "smelting"),
    "cleaned_matte": ("slag_cleaning", "smelting"),
    "slag_concentrate": ("slag_cleaning", "smelting"),
    "furnace_dust": ("smelting", "smelting"),
    "converting_dust": ("converting", "smelting"),
    "slag_to_clean": ("converting", "slag_cleaning"),
    "anode_slag": ("anode_furnace", "converting"),
    "rejects_to_converting": ("anode_furnace", "converting"),
    "scrap_to_converting": ("electrorefining", "converting"),
    "rejects_to_anode_furnace": ("anode_furnace", "anode_furnace"),
    "scrap_to_anode_furnace": ("electrorefining", "anode_furnace"),
}
_FLUXED = ("smelting", "converting")
_METAL = ("rejects_to_converting", "scrap_to_converting")
_DUSTLESS = ("converting_slag", "cleaned_matte", "slag_to_clean", "furnace_dust")


def once_around(
    inputs: Inputs,
    feeds: Feeds,
    back: Mapping[str, Stream],
    near: Mapping[str, Roots] | None = None,
    rough: bool = False,
) -> Circuit:
    """Run the steps in the order the copper meets them.

    near : roots to seek from, by section; rough : True where what comes back is only a beginning
    """
    near = near or {}
    charge = _charge(feeds, back, inputs)
    fuel = feeds.fuels[inputs.smelting.fuel]
    smelted = furnace.solve(charge, inputs.site, _furnace_settings(inputs), fuel, near.get("smelting"))
    cleaned = _clean(inputs, feeds, smelted, back, near.get("slag_cleaning"))
    mattes, aside = _parted(_mattes(inputs, smelted, cleaned), feeds.blown)
    converted = _convert(inputs, feeds, mix(*mattes.values()), back, rough)
    refined = _refine(inputs, feeds, converted, back)
    deposited = None
    if inputs.electrorefining is not None and refined is not None:
        deposited = electrorefining.solve(refined.anodes, inputs.electrorefining)
    parts = Circuit(smelted, cleaned, converted, refined, deposited, back, {}, mattes, aside)
    return replace(parts, returns=_returns(inputs, parts))


def _furnace_settings(inputs: Inputs) -> furnace.SmeltingSettings:
    """With a gas train the dust goes through it, and comes back from there."""
    if inputs.gas_train is None:
        return inputs.smelting
    return replace(inputs.smelting, dust_return=np.zeros(1))


def _charge(feeds: Feeds, back: Mapping[str, Stream], inputs: Inputs) -> furnace.Charge:
    returns = _put_back(back, "smelting")
    material = functools.reduce(operator.add, [feeds.smelting, *returns.values()])
    return furnace.Charge(material, feeds.concentrate_rate, feeds.silica, feeds.lime, returns)


def _put_back(back: Mapping[str, Stream], step: str) -> dict[str, Material]:
    """What goes back to a step, by the name of its way."""
    names = [name for name, (_, to) in WAYS.items() if to == step and name in back]
    return {name: (_dustless if name in _DUSTLESS else Material.of)(back[name]) for name in names}


def _dustless(stream: Stream) -> Material:
    """A melt makes no dust, and dust put back is not counted when it is made: no dry mass."""
    material = Material.of(stream)
    return replace(material, dry_mass=0.0 * material.dry_mass)


def _clean(
    inputs: Inputs,
    feeds: Feeds,
    smelted: furnace.SmeltingResult,
    back: Mapping[str, Stream],
    near: Roots | None,
) -> slag_cleaning.SlagCleaningResult | None:
    s = inputs.slag_cleaning
    if s is None:
        return None
    slags = {"smelting_slag": smelted.slag}
    if "slag_to_clean" in back:
        slags["converting_slag"] = back["slag_to_clean"]
    reductant = s.reductant if s.kind == "electric_furnace" else "coke"  # the other kinds burn none
    return slag_cleaning.solve(slags, inputs.site, s, feeds.fuels[reductant], near)


def _mattes(
    inputs: Inputs, smelted: furnace.SmeltingResult, cleaned: slag_cleaning.SlagCleaningResult | None
) -> dict[str, Stream]:
    """Step -> its matte, all that there is for converting."""
    mattes = {"smelting": smelted.matte_made}
    if cleaned is not None and cleaned.matte is not None and _matte_to(inputs) == "converting":
        mattes["slag_cleaning"] = cleaned.matte
    return mattes


def _parted(mattes: dict[str, Stream], blown: FloatN | None) -> tuple[dict[str, Stream], Stream | None]:
    """Mattes to converting, and what is put aside."""
    if blown is None:
        return mattes, None
    converted = {name: matte.scaled(blown) for name, matte in mattes.items()}
    return converted, mix(*mattes.values()).scaled(1.0 - blown)


def _convert(
    inputs: Inputs,
    feeds: Feeds,
    matte: Stream,
    back: Mapping[str, Stream],
    rough: bool,
) -> converting.ConvertingResult | None:
    if inputs.converting is None:
        return None
    reverts = {
        blow: [feeds.converting[blow]] if blow in feeds.converting else [] for blow in converting.BLOWS
    }
    for name, material in _put_back(back, "converting").items():
        reverts["copper_blow" if name in _METAL else "slag_blow"].append(material)
    return converting.solve(matte, reverts, feeds.silica, feeds.lime, inputs.site, inputs.converting, rough)


def _refine(
    inputs: Inputs, feeds: Feeds, converted: converting.ConvertingResult | None, back: Mapping[str, Stream]
) -> anode_furnace.AnodeFurnaceResult | None:
    s = inputs.anode_furnace
    if s is None or converted is None:
        return None
    melted = [*_put_back(back, "anode_furnace").values()]
    melted += [feeds.anode_furnace] if feeds.anode_furnace is not None else []
    reverts = functools.reduce(operator.add, melted) if melted else None
    return anode_furnace.solve(
        converted.blister, reverts, inputs.site, s, feeds.fuels[s.reductant], feeds.fuels[s.fuel]
    )


def _matte_to(inputs: Inputs) -> str:
    """Where matte of slag cleaning goes: smelting where there is no converting."""
    to_converting = inputs.converting is not None and inputs.slag_cleaning is not None
    return inputs.slag_cleaning.matte_to if to_converting and inputs.slag_cleaning else "smelting"


def _returns(inputs: Inputs, c: Circuit) -> dict[str, Stream]:
    """Every stream that goes back, by the name of its way."""
    back: dict[str, Stream | None] = {}
    if c.slag_cleaning is not None:
        back["slag_concentrate"] = c.slag_cleaning.concentrate
        back["cleaned_matte"] = c.slag_cleaning.matte if _matte_to(inputs) == "smelting" else None
    if c.converting is not None:
        to = inputs.recycle.converting_slag
        if to != "discard":
            clean = to == "slag_cleaning" and c.slag_cleaning is not None
            back["slag_to_clean" if clean else "converting_slag"] = c.converting.slag
        if inputs.recycle.converting_dust == "smelting":
            back["converting_dust"] = _converting_dust(inputs, c.converting)
    if c.anode_furnace is not None and inputs.anode_furnace is not None:
        if inputs.recycle.anode_slag == "converting":
            back["anode_slag"] = gone_cold(c.anode_furnace.slag)
        back[f"rejects_to_{inputs.anode_furnace.reject_to}"] = c.anode_furnace.rejects
    if c.electrorefining is not None and inputs.electrorefining is not None:
        back[f"scrap_to_{inputs.electrorefining.scrap_to}"] = c.electrorefining.scrap
    if inputs.gas_train is not None:
        caught = _caught(inputs, "furnace", furnace_source(inputs, c.smelting))
        back["furnace_dust"] = caught.scaled(inputs.smelting.dust_return)
    return {name: stream for name, stream in back.items() if stream is not None}


def furnace_source(inputs: Inputs, smelted: furnace.SmeltingResult) -> gas_train.Source:
    """Gas and dust of the smelting furnace that its hood takes."""
    return _taken(smelted.gas, smelted.dust, inputs.emissions.smelting_escape if inputs.emissions else NONE)


def converter_source(inputs: Inputs, converted: converting.ConvertingResult) -> gas_train.Source:
    """Gas and dust of converting that the primary hood takes."""
    return _taken(
        converted.gas, converted.dust, inputs.emissions.converting_escape if inputs.emissions else NONE
    )


NONE = np.zeros(1)


def _taken(gas: Stream, dust: Stream, escape: FloatN) -> gas_train.Source:
    return gas_train.Source(gas.scaled(1.0 - escape), dust.scaled(1.0 - escape))


def _converting_dust(inputs: Inputs, converted: converting.ConvertingResult) -> Stream:
    """Without a gas train its oxides are part sulfate, as are those of the furnace's own dust."""
    caught = _caught(inputs, "converter", converter_source(inputs, converted))
    return caught if inputs.gas_train is not None else sulfated(caught, inputs.smelting.dust_sulfation)


def taken_up_by_dust(inputs: Inputs, c: Circuit) -> dict[str, Stream]:
    """Step -> SO2 and O2 that its gas gives to the dust put back, where no gas train says so."""
    gases = {"smelting": c.smelting.gas_taken_up}
    if c.converting is not None and "converting_dust" in c.back:
        caught = _caught(inputs, "converter", converter_source(inputs, c.converting))
        gases["converting"] = taken_up(caught, inputs.smelting.dust_sulfation, c.converting.gas.T)
    return gases


def _caught(inputs: Inputs, line: str, source: gas_train.Source) -> Stream:
    """Dust at 25 degC: from the hot gas line where the case has a gas train, else all that is carried out."""
    if inputs.gas_train is None:
        assert source.dust is not None
        return gone_cold(source.dust)
    settings = inputs.furnace_gas if line == "furnace" else inputs.converter_gas
    return gas_train.dust_back(source, settings, inputs.site)


@dataclass(frozen=True, eq=False)
class Loop:
    """The circuit cut open; implements ``numerics.recycle.Loop``.

    pattern : name -> stream of the right species, for the layout of the tears: amounts and temperature
    near : roots of the steps at the last pass, to seek from
    """

    inputs: Inputs
    feeds: Feeds
    pattern: Mapping[str, Stream]
    near: Mapping[str, Roots]

    def once(self, tears: Floats) -> Circuit:
        """The circuit with ``tears`` (N, K) put back."""
        return once_around(self.inputs, self.feeds, self.streams(tears), self.near)

    def around(self, tears: Floats) -> tuple[Floats, Loop]:
        """What will come back when ``tears`` (N, K) are put back, and the loop that goes on from there."""
        circuit = self.once(tears)
        return pack(circuit.foreseen(), self.pattern, len(tears)), replace(self, near=circuit.roots())

    def back(self, tears: Floats) -> Floats:
        """What comes back in this very pass, (N, K); at the end of the search it is what was put back."""
        circuit = self.once(tears)
        return pack(circuit.returns, self.pattern, len(tears))

    def take(self, rows: IntN) -> Loop:
        """The loop for some of the scenarios."""
        part: Loop = take(self, rows)
        return part

    def streams(self, tears: Floats) -> dict[str, Stream]:
        """The tears as streams."""
        back, at = {}, 0
        for name, stream in self.pattern.items():
            width = len(stream.phase)
            phase = species(*stream.phase.names)
            back[name] = Stream(phase, tears[:, at : at + width], tears[:, at + width])
            at += width + 1
        return back


def units_of(pattern: Mapping[str, Stream]) -> list[str]:
    """The unit of each column of the tears."""
    return [unit for stream in pattern.values() for unit in (*["mol/s"] * len(stream.phase), "K")]


def pack(streams: Mapping[str, Stream], pattern: Mapping[str, Stream], n: int) -> Floats:
    """Amounts on the pattern's S axes, and temperature, of every stream side by side, (N, K)."""
    columns = [np.zeros((n, 0))]
    for name, like in pattern.items():
        stream = streams[name]
        columns.append(np.broadcast_to(on_phase(stream, like.phase), (n, len(like.phase))))
        columns.append(np.broadcast_to(stream.T, (n,))[:, None])
    return np.concatenate(columns, axis=1)


def nothing_back(pattern: Mapping[str, Stream]) -> Floats:
    """Tears (1, K) of a plant that starts empty."""
    none = {
        name: Stream(like.phase, np.zeros((1, len(like.phase))), cold()) for name, like in pattern.items()
    }
    return pack(none, pattern, 1)
