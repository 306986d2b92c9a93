"""What a careful engineer would say about a result: limits broken, things to look at, hazards.

Windows without a source are common practice. Hazard figures name the body and are for orientation only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from pyrobal.constants import MW, PERCENT, TONNE_PER_HOUR, celsius
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.plant import acid_plant, anode_furnace, converting, emissions, gas_train, load, slag_cleaning
from pyrobal.readings import emission_messages
from pyrobal.readings.assay_messages import assay_messages
from pyrobal.readings.assay_messages import impossible as impossible_assays
from pyrobal.readings.correlation_messages import correlation_messages
from pyrobal.readings.limit_messages import gone_by, impossible_schedule, limit_messages
from pyrobal.readings.message import Message
from pyrobal.readings.message import at as _at
from pyrobal.readings.message import one as _one
from pyrobal.thermo import dew_point

# Windows of a smelting slag, common practice.
FE_SIO2_LOW, FE_SIO2_HIGH = 1.0, 2.0
MAGNETITE_HIGH = 15 * PERCENT
MOST_PUT_BACK = 25 * PERCENT  # of the matte tapped, common practice
VISCOSITY_HIGH = 0.3  # Pa s
SLAG_COLD = celsius(1200)
COLD_END = 10.0  # K below the temperature of the bath at which a copper blow may end before it is said
_ROUNDING = 1e-9


def messages(results: Results, scenario: int = 0) -> list[Message]:
    """Everything worth saying about one scenario, the gravest first."""
    reason = Reason(int(results.reason[scenario]))
    if reason is not Reason.SOLVED:
        step = results.unsolved.failed(scenario)
        limits = [Message("limit", "concentrate" if step == "feed" else step, reason.text)]
        if reason is Reason.ASSAY_IMPOSSIBLE:
            limits = list(impossible_assays(results, scenario)) or limits
        if reason is Reason.BATH_FREEZES:
            limits += _copper_blow(results, scenario)
        if step == "load":
            limits = [*impossible_schedule(results, scenario), *limits]
        return [*limits, *_safety(results, scenario)]
    rules = (*(_OF_FURNACES if results.smelting is not None else ()), *_RULES)
    found = [m for rule in rules for m in rule(results, scenario)]
    order = {"caution": 0, "note": 1, "safety": 2}
    return sorted([*found, *_safety(results, scenario)], key=lambda m: order[m.level])


_CAUTIOUS = {
    "slag_cleaning": slag_cleaning,
    "converting": converting,
    "anode_furnace": anode_furnace,
    "acid_plant": acid_plant,
    "load": load,
}


def _steps(r: Results, i: int) -> Iterator[Message]:
    """Cautions that the other steps work out for themselves."""
    for name, module in _CAUTIOUS.items():
        step = getattr(r, name)
        if step is not None:
            for key, holds in module.cautions(step).items():
                if _one(holds, i):
                    yield Message("caution", key, module.CAUTIONS[key])
    if r.gas_train is not None:
        for caution in gas_train.cautions(r.gas_train):
            if _one(caution.holds, i):
                yield Message("caution", caution.key, caution.text)


def _copper_blow(r: Results, i: int) -> Iterator[Message]:
    """What is charged cold in the copper blow beyond its heat, and the enrichment that carries it."""
    c = r.converting
    if c is None or _one(c.copper_blow_reverts, i) <= 0.0 or not _one(c.capacity_copper, i) < 0.0:
        return
    if _one(c.blister.T, i) > _one(c.settings.bath_temperature, i) - COLD_END:
        return
    y, purity = _one(c.copper_blow_enrichment, i), _one(c.settings.oxygen_purity, i)
    enough = y < purity * (1.0 - _ROUNDING)
    remedy = (
        f"converting.copper_blow_enrichment = {y / PERCENT:.1f} vol% carries it"
        if enough
        else f"not even {purity / PERCENT:.3g} vol% O2 carries it"
    )
    over = -_one(c.capacity_copper, i) / TONNE_PER_HOUR
    T = _one(c.settings.bath_temperature, i)
    yield Message(
        "caution" if c.reason[i] == Reason.SOLVED else "limit",
        "converting.coolant_capacity.copper",
        f"the copper blow has too little heat to keep {T - 273.15:.0f} degC with what is charged cold in it: "
        f"{over:.2g} t/h of cold copper too much; {remedy}, or charge less of it there: copper scrap may "
        'also go to the anode furnace (revert, to = "anode_furnace")',
    )


def _dew_points(r: Results, i: int) -> Iterator[Message]:
    """One caution for all points of the gas train, led by the one with the most SO3."""
    points = {} if r.gas_train is None else r.gas_train.points
    outside = {name: p for name, p in points.items() if _one(p.dew_point.extrapolated, i)}
    if not outside:
        return
    name = max(outside, key=lambda one: _one(outside[one].so3, i))
    so3, water = _one(outside[name].so3, i), _one(outside[name].water, i)
    low, high, dry, wet = *dew_point.SO3_RANGE, *(p / 1000 for p in dew_point.WATER_RANGE)
    others = f" and of {len(outside) - 1} others" if len(outside) > 1 else ""
    yield Message(
        "caution",
        f"gas.{name}.dew_point_high",
        f"{so3:.3g} Pa SO3 and {water / 1000:.2g} kPa water; the correlations were fitted to {low:g} to "
        f"{high:g} Pa and {dry:g} to {wet:g} kPa (flue gas, ranges from memory): take the band of this "
        f"point{others} as a rough guide and measure",
    )


def _step_safety(r: Results) -> Iterator[Message]:
    for name in ("slag_cleaning", "converting", "anode_furnace", "gas_train", "acid_plant", "emissions"):
        if getattr(r, name) is not None:
            module = {**_CAUTIOUS, "gas_train": gas_train, "emissions": emissions}[name]
            yield Message("safety", name, module.SAFETY)


def _heat(r: Results, i: int) -> Iterator[Message]:
    surplus = _at(r, "smelting.heat.surplus", i)
    mode = r.smelting.settings.close_heat_with
    autogenous = _at(r, "smelting.heat.autogenous_enrichment", i)
    point = f"lowering the enrichment to {autogenous / PERCENT:.1f} vol%"
    if np.isnan(autogenous):
        yield Message("note", "smelting.heat.autogenous_enrichment", _not_autogenous(r, i))
        point = "no enrichment between air and the oxygen purity"
    if surplus > 0.01 * MW:
        cold = _at(r, "smelting.heat.cold_charge_to_absorb", i) / TONNE_PER_HOUR
        yield Message(
            "caution",
            "smelting.heat.surplus",
            f"{surplus / MW:.1f} MW of heat is surplus; it would be absorbed by {point}, or by "
            f"{cold:.0f} t/h of cold own matte",
        )
    if surplus < -0.01 * MW:
        remedy = (
            "" if np.isnan(autogenous) else f", or raise the enrichment to {autogenous / PERCENT:.1f} vol%"
        )
        yield Message(
            "caution",
            "smelting.heat.surplus",
            f'heat is short by {-surplus / MW:.1f} MW with close_heat_with = "{mode}"; fire fuel{remedy}',
        )


def _put_back(r: Results, i: int) -> Iterator[Message]:
    """Own matte put back cold, where it is more than a furnace is usually given."""
    keys = ("smelting.cold_charge", "smelting.matte.tapped", "smelting.cold_charge_share")
    back, tapped, share = (_at(r, key, i) for key in keys)
    if share > MOST_PUT_BACK:
        yield Message(
            "caution",
            "smelting.cold_charge",
            f"{back / TONNE_PER_HOUR:.0f} of {tapped / TONNE_PER_HOUR:.0f} t/h of matte tapped recycled "
            f"cold, above {MOST_PUT_BACK / PERCENT:.0f} %; lower the enrichment, or cool with other material",
        )


def _not_autogenous(r: Results, i: int) -> str:
    reason = Reason(int(r.autogenous.reason[i]))
    purity = _one(r.smelting.settings.oxygen_purity, i) / PERCENT
    why = {
        Reason.ENRICHMENT_ABOVE_PURITY: f"even at the oxygen purity, {purity:.3g} vol%, heat is short",
        Reason.ENRICHMENT_BELOW_AIR: "even with air alone there is a heat surplus",
    }
    return f"there is no autogenous enrichment: {why.get(reason, reason.text)}"


def _slag(r: Results, i: int) -> Iterator[Message]:
    ratio = _at(r, "smelting.slag.fe_sio2", i)
    target = _one(r.smelting.settings.fe_sio2, i)
    if not FE_SIO2_LOW <= ratio <= FE_SIO2_HIGH:
        yield Message(
            "caution",
            "smelting.slag.fe_sio2",
            f"Fe/SiO2 of {ratio:.2f} is outside {FE_SIO2_LOW} to {FE_SIO2_HIGH} (common practice): "
            "silica saturation "
            "below, magnetite saturation above",
        )
    if r.charge.silica is not None and ratio < target * (1 - 1e-6):
        yield Message(
            "caution",
            "smelting.fe_sio2",
            f"the charge itself brings more silica than Fe/SiO2 = {target:.2f} allows; no flux is fed",
        )
    magnetite = _at(r, "smelting.slag.magnetite", i)
    if magnetite > MAGNETITE_HIGH:
        yield Message(
            "caution",
            "smelting.slag.magnetite",
            f"{magnetite / PERCENT:.0f} % Fe3O4 is above {MAGNETITE_HIGH / PERCENT:.0f} % (common "
            "practice): expect "
            "build-up and foaming",
        )
    viscosity = _at(r, "smelting.slag.viscosity", i)
    if viscosity > VISCOSITY_HIGH:
        yield Message("caution", "smelting.slag.viscosity", f"the slag is stiff, {viscosity:.2f} Pa s")
    T = _at(r, "smelting.slag.temperature", i)
    if T < SLAG_COLD:
        yield Message(
            "caution",
            "smelting.slag.temperature",
            f"{T - 273.15:.0f} degC is near the liquidus of iron silicate slag (fayalite melts at 1205 degC)",
        )


def _safety(r: Results, i: int) -> Iterator[Message]:
    if r.smelting is not None:
        yield from _furnace_safety(r, i)
    yield from _step_safety(r)


def _furnace_safety(r: Results, i: int) -> Iterator[Message]:
    yield Message(
        "safety",
        "smelting.gas.so2",
        "furnace gas is far above the 100 ppm SO2 that is immediately dangerous (NIOSH IDLH); local "
        "codes and "
        "licensed practice decide",
    )
    if _one(r.inputs.smelting.enrichment, i) > 0.235:
        yield Message(
            "safety",
            "smelting.enrichment",
            "oxygen-enriched gas: clean, oil-free, rated pipework and local oxygen codes apply",
        )
    yield Message(
        "safety",
        "smelting.matte",
        "water or damp charge under molten matte or slag explodes; a heat balance is a screening "
        "estimate, not "
        "furnace control",
    )
    if r.scenarios and np.any(r.smelting.heat.fuel > 0):
        yield Message(
            "safety", "smelting.fuel", "incomplete combustion leaves CO: monitor the uptake and after-burn"
        )


_OF_FURNACES: tuple[Callable[[Results, int], Iterator[Message]], ...] = (
    assay_messages,
    _heat,
    _put_back,
    _slag,
    correlation_messages,
)
_RULES: tuple[Callable[[Results, int], Iterator[Message]], ...] = (
    _steps,
    _copper_blow,
    _dew_points,
    gone_by,
    limit_messages,
    *emission_messages.RULES,
)
