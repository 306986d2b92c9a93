"""What must hold between the settings of a case. Each rule yields (key, what is wrong and what to do).

A rule compares numbers that may be NaN where a value could not be read, and is written so that NaN finds
nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.draft import Draft
from pyrobal.case.schema import fuels_named, tables, written
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.names import suggestion
from pyrobal.plant.anode_furnace.refining import carriers as anode_carriers
from pyrobal.plant.feed import ConcentrateSettings, FluxSettings, RevertSettings
from pyrobal.plant.slag_cleaning.phases import carriers as slag_carriers
from pyrobal.plant.smelting.deportment import phases
from pyrobal.streams.assay import INSOL, LOI, TRACES, stated
from pyrobal.streams.fuel import default_fuels
from pyrobal.streams.mineralogy import MINERALS
from pyrobal.streams.site import OXYGEN_IN_AIR
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS, composition

Finding = tuple[str, str]

SUM_SLACK: Final = 0.001  # shares that a person has rounded to 0.1 %
FUEL_SLACK: Final = 0.01  # a fuel analysis rounded to whole percent
ROUNDING: Final = 1e-9
# Steps that work on the product of another one.
FED_BY: Final = {
    "anode_furnace": "converting",
    "electrorefining": "anode_furnace",
    "acid_plant": "gas_train",
    "load": "acid_plant",
}
WITH_STATED_GAS: Final = ("site", "acid_feed", "acid_plant", "limit", "upset")
MINERAL_SLACK: Final = 0.05  # relative; a mineralogy and an assay are two measurements


def check(draft: Draft) -> None:
    """Note everything that contradicts itself; a key that is already faulty gets no second fault."""
    for rule in RULES:
        for key, text in rule(draft):
            if key not in draft.faulty:
                draft.wrong(draft.place(key), text)


def _number(value: FloatN) -> float:
    return float(value[0])


def _percent(value: float) -> str:
    return f"{100 * value:.6g} %"


def _blend(draft: Draft) -> Iterator[Finding]:
    blend = draft.inputs.concentrate
    if not blend and not draft.given("acid_feed"):
        yield "concentrate", "a case needs at least one [[concentrate]] with a name, a rate and an assay"
    for c in blend:
        key = f"concentrate.{c.name}"
        if c.rate is None and c.share is None and not {f"{key}.rate", f"{key}.share"} & draft.faulty:
            yield key, 'needs a rate, e.g. rate = "55 t/h", or a share with [charge] rate'
        if c.rate is not None and c.share is not None:
            yield f"{key}.share", "rate and share exclude each other; remove one"
    rates = [c for c in blend if c.rate is not None]
    shares = [c for c in blend if c.rate is None and c.share is not None]
    if rates and shares:
        named = ", ".join(c.name for c in shares)
        yield "concentrate", f"give rates for all concentrates or shares for all; a share stands for {named}"
    elif shares:
        yield from _shares_of(draft, shares)
    elif rates and draft.inputs.charge.rate is not None:
        yield "charge.rate", "stands only with shares; the concentrates have rates already"
    if rates and not shares and sum(_number(c.rate) for c in rates if c.rate is not None) == 0.0:
        yield "concentrate", "the blend is empty: every rate is zero"


def _shares_of(draft: Draft, shares: list[ConcentrateSettings]) -> Iterator[Finding]:
    total = sum(_number(c.share) for c in shares if c.share is not None)
    if abs(total - 1.0) > SUM_SLACK:
        yield "concentrate", f"the shares sum to {_percent(total)}; they must sum to 100 %"
    rate = draft.inputs.charge.rate
    if rate is None:
        yield "charge.rate", 'is missing: concentrates given by share need it, e.g. rate = "110 t/h"'
    elif _number(rate) == 0.0:
        yield "charge.rate", "the blend is empty: the rate is zero"


def _assays(inputs: Inputs) -> Iterator[tuple[str, dict[str, FloatN]]]:
    for section, items in (("concentrate", inputs.concentrate), ("revert", inputs.revert)):
        for item in items:
            yield f"{section}.{item.name}.assay", item.assay
    for name, flux in inputs.flux.items():
        yield f"flux.{name}.assay", flux.assay


def _assay_sums(draft: Draft) -> Iterator[Finding]:
    for key, assay in _assays(draft.inputs):
        minerals = draft.given(f"{key.removesuffix('assay')}minerals")
        if not assay and not minerals and not draft.incomplete(key):
            yield key, "is missing: a material needs an assay, e.g. Cu = 28.1, or a concentrate its minerals"
        yield from _above_hundred(key, stated(assay))
    for c in draft.inputs.concentrate:
        yield from _above_hundred(f"concentrate.{c.name}.minerals", c.minerals)
        yield from _insol(draft, c)


def _insol(draft: Draft, c: ConcentrateSettings) -> Iterator[Finding]:
    """What insol is made of adds up, and is of use."""
    key, total = f"concentrate.{c.name}.insol", sum(_number(x) for x in c.insol.values())
    if c.insol and INSOL not in c.assay and not draft.incomplete(f"concentrate.{c.name}.assay"):
        yield key, "says what insol is made of, but the assay has no line insol; remove it"
    elif c.insol and "SiO2" in c.assay:
        yield key, "says nothing beside a line for SiO2, which tells the gangue itself; remove one of them"
    elif c.insol and abs(total - 1.0) > SUM_SLACK and not draft.incomplete(key):
        yield key, f"sums to {_percent(total)}; it must sum to 100 % of insol"


def _above_hundred(key: str, parts: dict[str, FloatN]) -> Iterator[Finding]:
    total = sum(_number(x) for x in parts.values())
    if total > 1.0 + ROUNDING:
        yield key, f"sums to {_percent(total)}; it cannot exceed 100 % of the dry solids"


def _precisions(draft: Draft) -> Iterator[Finding]:
    items: dict[str, ConcentrateSettings | FluxSettings]
    items = {f"concentrate.{c.name}": c for c in draft.inputs.concentrate}
    items |= {f"flux.{name}": flux for name, flux in draft.inputs.flux.items()}
    for key, item in items.items():
        for name in item.precision:
            if name not in item.assay and not draft.incomplete(f"{key}.assay"):
                yield f"{key}.precision.{name}", f"the assay has no line {name} to be sure or unsure of"


def _counted_twice(draft: Draft) -> Iterator[Finding]:
    for key, assay in _assays(draft.inputs):
        for line in assay:
            if holders := _counted_in(line, assay):
                text = f"is counted again in {', '.join(holders)}; give the total or the compounds, not both"
                yield f"{key}.{line}", text


def _counted_in(line: str, assay: Iterable[str]) -> list[str]:
    """Other lines that hold what a line is the total of: an element, or the CO2 of carbonates."""
    others = [other for other in assay if other not in (line, INSOL, LOI)]
    if line == "CO2":
        return [other for other in others if other.endswith("CO3")]
    if line in (INSOL, LOI, "C") or composition(line).keys() != {line}:  # C is the carbon besides carbonates
        return []
    return [other for other in others if line in composition(other)]


def _measured_minerals(draft: Draft) -> Iterator[Finding]:
    for c in draft.inputs.concentrate:
        assayed = _elements(stated(c.assay, c.insol))
        if assayed.keys() <= set(TRACES):
            continue  # the minerals alone make up the concentrate
        for element, held in _elements({MINERALS[name]: x for name, x in c.minerals.items()}).items():
            share = assayed.get(element, 0.0)
            if element not in ("O", "H", "C") and held > share * (1.0 + MINERAL_SLACK):
                text = f"hold {_percent(held)} {element}, but the assay has {_percent(share)}"
                yield f"concentrate.{c.name}.minerals", text


def _elements(parts: dict[str, FloatN]) -> dict[str, float]:
    """Mass fraction of each element in a mixture given by formula."""
    total: dict[str, float] = {}
    for formula, x in parts.items():
        masses = {e: n * ATOMIC_MASS_OF[e] for e, n in composition(formula).items()}
        for element, mass in masses.items():
            total[element] = total.get(element, 0.0) + _number(x) * mass / sum(masses.values())
    return total


def _fluxes(draft: Draft) -> Iterator[Finding]:
    flux = draft.inputs.flux
    if draft.given("smelting.fe_sio2") and "silica" not in flux:
        yield "smelting.fe_sio2", "needs a [flux.silica]; without one the ratio is a reading"
    if draft.given("smelting.cao_sio2") and "lime" not in flux:
        yield "smelting.cao_sio2", "needs a [flux.lime]; without one the ratio is a reading"
    if "lime" in flux and not draft.given("smelting.cao_sio2"):
        yield "flux.lime", "its rate follows from smelting.cao_sio2, which is missing, e.g. cao_sio2 = 0.05"
    for name, element, oxide in (("silica", "Si", "SiO2"), ("lime", "Ca", "CaO or CaCO3")):
        key, assay = f"flux.{name}.assay", flux[name].assay if name in flux else {}
        if assay and not draft.incomplete(key) and _elements(stated(assay)).get(element, 0.0) == 0.0:
            yield key, f"holds no {oxide}, which this flux is there to bring"


def _fuels(draft: Draft) -> Iterator[Finding]:
    for name, fuel in draft.inputs.fuel.items():
        key, unit = f"fuel.{name}", "vol%" if fuel.kind == "gas" else "wt%"
        total = sum(_number(x) for x in fuel.composition.values())
        if not fuel.composition and not draft.incomplete(key):
            yield (
                key,
                "has no composition: CH4, ... in vol% for a gas, or C, H, ... in wt% for oil or coke, "
                "or compounds by name",
            )
        if fuel.composition and abs(total - 1.0) > FUEL_SLACK and not draft.incomplete(key):
            yield key, f"sums to {100 * total:.6g} {unit}; it must sum to 100 {unit}"
        ash = sum(_number(x) for x in fuel.ash_oxides)
        if ash > 1.0 + FUEL_SLACK:
            yield (
                key,
                f"its ash (ash_SiO2, ...) sums to {100 * ash:.6g} wt%; the oxides are at most 100 wt% of it",
            )
        if fuel.kind != "ultimate" and fuel.heating_value is not None:
            yield (
                f"{key}.heating_value",
                f"stands only with oil or coke; a {fuel.kind} has that of its components",
            )
    known = {**default_fuels(), **draft.inputs.fuel}
    for key, named in fuels_named(draft.inputs):
        if named not in known:
            yield key, f"no [fuel.{named}] describes this fuel; {suggestion(named, known)}"


def _smelting(draft: Draft) -> Iterator[Finding]:
    s = draft.inputs.smelting
    if draft.given("smelting.matte_grade") and s.oxygen_per_tonne is not None:
        yield "smelting.oxygen_per_tonne", "excludes matte_grade: one follows from the other; remove one"
    if draft.given("smelting.slag_entrained_matte") and s.slag_entrained_copper is not None:
        yield "smelting.slag_entrained_copper", "excludes slag_entrained_matte; remove one"
    if draft.given("smelting.dust_sulfation") and draft.inputs.gas_train is not None:
        text = "excludes [gas_train]: the dust comes back from there, see furnace_gas.sulfation; remove one"
        yield "smelting.dust_sulfation", text


def _converting(draft: Draft) -> Iterator[Finding]:
    if draft.inputs.converting is not None:
        for name, text in draft.inputs.converting.contradictions().items():
            yield f"converting.{name}", text


def _heat_losses(draft: Draft) -> Iterator[Finding]:
    for key, node in tables(draft.inputs):
        if getattr(node, "heat_loss", None) is not None and draft.given(f"{key}.heat_loss_per_tonne"):
            yield f"{key}.heat_loss_per_tonne", "excludes heat_loss; remove one"


def _enrichments(draft: Draft) -> Iterator[Finding]:
    air = _percent(OXYGEN_IN_AIR)
    for key, node in tables(draft.inputs):
        for name in (n for n in written(type(node)) if n.endswith("enrichment")):
            found = _number(getattr(node, name))
            if found < OXYGEN_IN_AIR * (1.0 - ROUNDING):
                text = f"{_percent(found)} is below the {air} of dry air, which it is made from"
                yield f"{key}.{name}", text


def _deportments(draft: Draft) -> Iterator[Finding]:
    for section, node in tables(draft.inputs):
        for element, shares in getattr(node, "deportment", {}).items():
            key, total = f"{section}.deportment.{element}", sum(_number(x) for x in shares.values())
            if abs(total - 1.0) > SUM_SLACK and not draft.incomplete(key):
                yield key, f"sums to {_percent(total)}; it must sum to 100 %"


def _distributions(draft: Draft) -> Iterator[Finding]:
    for section, node in tables(draft.inputs):
        for element in getattr(node, "distribution", {}).keys() & getattr(node, "deportment", {}).keys():
            key = f"{section}.distribution.{element}"
            yield key, "excludes shares of the same element under deportment; remove one"


def _forms(draft: Draft) -> Iterator[Finding]:
    """A share sent where the element has no form to leave in would be lost."""
    for section, outlets in _elements_that_leave().items():
        for element, shares in getattr(getattr(draft.inputs, section), "deportment", {}).items():
            for outlet, x in shares.items():
                if _number(x) > 0.0 and element not in outlets[outlet]:
                    key = f"{section}.deportment.{element}.{outlet}"
                    yield key, f"{element} has no form in which it leaves with the {outlet}"


def _elements_that_leave() -> dict[str, dict[str, set[str]]]:
    """Section -> outlet -> elements that have a form there; of the steps where one may have none."""
    in_smelting = {
        outlet: {e for i, e in enumerate(ELEMENTS) if phase.composition[:, i].any()}
        for outlet, phase in phases().items()
    }
    return {
        "smelting": in_smelting,
        "slag_cleaning": {outlet: set(names) for outlet, (_, names) in slag_carriers().items()},
        "anode_furnace": {outlet: set(names) for outlet, (_, names) in anode_carriers().items()},
    }


def _order_of_steps(draft: Draft) -> Iterator[Finding]:
    for section, before in FED_BY.items():
        if section == "acid_plant" and draft.given("acid_feed"):
            continue
        if getattr(draft.inputs, section) is not None and getattr(draft.inputs, before) is None:
            yield section, f"needs a section [{before}], whose product it takes"
    for revert in draft.inputs.revert:
        if revert.to != "smelting" and getattr(draft.inputs, revert.to) is None:
            yield f"revert.{revert.name}.to", f"goes to {revert.to}, but the case has no [{revert.to}]"
        if revert.stage is not None:
            yield from _stage(draft.inputs, revert)


def _stage(inputs: Inputs, revert: RevertSettings) -> Iterator[Finding]:
    """A blow can be named only where there are blows."""
    key = f"revert.{revert.name}.stage"
    if revert.to != "converting":
        yield key, f'names a blow of converting, but to is "{revert.to}"; remove it, or set to = "converting"'
    elif inputs.converting is not None and inputs.converting.kind != "batch":
        yield key, "names a blow, but a continuous converter has none; remove it"


def _stated_gas(draft: Draft) -> Iterator[Finding]:
    s = draft.inputs.acid_feed
    if s is None:
        return
    if draft.inputs.acid_plant is None:
        yield "acid_feed", "needs a section [acid_plant], which takes this gas"
    for section in SECTIONS:
        if section not in WITH_STATED_GAS and draft.given(section):
            yield (
                section,
                "has no place beside [acid_feed], which stands for all before the acid plant; remove one",
            )
    for name in ("flow_limit", "so2_limit"):
        if draft.given(f"acid_plant.{name}"):
            yield (
                f"acid_plant.{name}",
                "has no place beside [acid_feed]: all of a stated gas is taken; remove it",
            )
    total = sum(_number(x) for x in (s.so2, s.o2, s.co2))
    if total > 1.0 + ROUNDING:
        yield "acid_feed", f"its SO2, O2 and CO2 sum to {_percent(total)}; nitrogen is the rest of 100 %"


def _bypassed_bed(draft: Draft) -> Iterator[Finding]:
    s = draft.inputs.acid_plant
    if s is not None and int(s.bypassed_bed) > s.count:
        text = f'there is no bed {s.bypassed_bed}: beds = "{s.beds}" has {s.count}'
        yield "acid_plant.bypassed_bed", text


def _drying(draft: Draft) -> Iterator[Finding]:
    after = _number(draft.inputs.charge.moisture_after_drying)
    wettest = max((_number(c.moisture) for c in draft.inputs.concentrate), default=1.0)
    if draft.inputs.dryer is not None and after > wettest:
        text = f"{_percent(after)} is more than any concentrate holds undried ({_percent(wettest)} at most)"
        yield "charge.moisture_after_drying", text


def _upsets(draft: Draft) -> Iterator[Finding]:
    if draft.inputs.upset and draft.inputs.emissions is None:
        yield "upset", "needs a section [emissions], whose totals of the year it counts in"
    operating = _number(draft.inputs.site.operating_time)
    hours = sum(_number(upset.hours) for upset in draft.inputs.upset.values())
    if hours > operating * (1.0 + ROUNDING):
        last, works = units.write(hours, "h/a"), units.write(operating, "h/a")
        yield "upset", f"the upsets last {last} together, but the plant works {works} (site.operating_time)"


def _limits(draft: Draft) -> Iterator[Finding]:
    if draft.inputs.limit:
        from pyrobal.case.limits import contradictions  # the engine, which other cases are read without

        yield from contradictions(draft.inputs)


RULES: Final = (
    _blend, _assay_sums, _precisions, _counted_twice, _measured_minerals, _fluxes, _fuels, _smelting,
    _converting, _heat_losses, _enrichments, _deportments, _distributions, _forms, _order_of_steps,
    _drying, _stated_gas, _bypassed_bed, _limits, _upsets,
)  # fmt: skip
