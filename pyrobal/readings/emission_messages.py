"""What is to be said of emissions beside the limits: gas that no acid plant takes, and who emits most."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pyrobal.constants import HOUR, NM3, PERCENT
from pyrobal.flowsheet.results import Results
from pyrobal.plant.emissions import AVERAGING_TIMES, CAUTIONS, EmissionsResult, at_reference, cautions, held
from pyrobal.readings.message import Message, figure, one

# Stacks whose gas an acid plant is there for.
_STRONG = {
    "furnace": "the gas of the smelting furnace",
    "converter": "the gas of converting",
    "cleaned_gas": "the cleaned gas",
}
# Setting of the permit -> its unit, and how much of it one of SI is; the others are concentrations.
_UNITS = {
    "so2_limit": ("kg/h", HOUR),
    "so2_per_t_cu_limit": ("kg/t", 1000.0),
    "so2_per_t_acid_limit": ("kg/t", 1000.0),
    "capture_limit": ("%", 100.0),
}
MAGNIFIED = 5.0  # times; gas above some 19 % O2 stated at 10 % is rather air than gas of combustion
_CONCENTRATION = ("mg/Nm3", 1e6 * NM3)


def _permit(r: Results, i: int) -> Iterator[Message]:
    """Every limit that is broken, by how much."""
    if r.emissions is None:
        return
    limits = held(r.emissions)
    for key, broken in cautions(r.emissions).items():
        if not one(broken, i):
            continue
        if key in CAUTIONS:
            yield Message("caution", key, CAUTIONS[key])
        else:
            x, (unit, per) = limits[key], _UNITS.get(limits[key].setting, _CONCENTRATION)
            assert x.bound is not None
            value, bound = (figure(one(y, i) * per) for y in (x.value, x.bound))
            side = "above" if x.upper else "below"
            text = f"{x.what}, {value} {unit}, is {side} the {bound} {unit} of emissions.{x.setting}"
            yield Message("caution", key, text)


def _permit_for_a_while(r: Results, i: int) -> Iterator[Message]:
    """Stacks that keep their limit on the mean and not over every averaging time."""
    if r.emissions is None or r.load is None:
        return
    unit, per = _CONCENTRATION
    for name in r.emissions.swinging():
        x = held(r.emissions).get(f"emissions.stated.{name}.so2")
        if x is None or x.bound is None or one(x.broken, i):
            continue
        over = {
            time: highest
            for time, window in AVERAGING_TIMES.items()
            if (highest := one(r.emissions.highest_in(name, r.load.period, window), i)) > one(x.bound, i)
        }
        if over:
            longest, most = list(over.items())[-1]
            mean, bound = (figure(one(y, i) * per) for y in (x.value, x.bound))
            yield Message(
                "note",
                f"emissions.highest.{name}.{longest}",
                f"{x.what}, {mean} {unit} on the mean, keeps the {bound} of emissions.{x.setting}; over the "
                f"worst {longest.replace('_', ' ')} it comes to {figure(most * per)}: the averaging time of "
                "the permit decides",
            )


def _nearly_air(r: Results, i: int) -> Iterator[Message]:
    """A reference oxygen magnifies what stands in gas that is mostly air."""
    for name, stack in r.emissions.stacks.items() if r.emissions is not None else ():
        if stack.conditions.reference_oxygen is None or not one(stack.flow, i) > 0.0:
            continue
        times = one(at_reference(stack.oxygen, stack.conditions), i)
        if times > MAGNIFIED:
            yield Message(
                "caution",
                f"stack.{name}.reference_oxygen",
                f"the gas holds {one(stack.oxygen, i) / PERCENT:.3g} % O2, so that what it carries is "
                f"stated {figure(times)} times as strong as it is: a reference oxygen is meant for gas of "
                "combustion",
            )


def _past_the_acid_plant(r: Results, i: int) -> Iterator[Message]:
    if r.emissions is None:
        return
    parts = so2_by_source(r.emissions, i)
    for name, told in _STRONG.items():
        if parts.get(name, 0.0) > 0.0:
            share = parts[name] / sum(parts.values()) / PERCENT
            yield Message(
                "caution",
                f"emissions.so2_from.{name}",
                f"{told} goes to a stack and not to an acid plant: {figure(parts[name])} kg/h SO2, "
                f"{share:.3g} % of all that is emitted",
            )


def _largest_past_the_hoods(r: Results, i: int) -> Iterator[Message]:
    """Where most of the SO2 rests on a share that nobody measures, the answer is as good as that share."""
    if r.emissions is None or not (parts := so2_by_source(r.emissions, i)):
        return
    largest, s = max(parts, key=lambda name: parts[name]), r.emissions.settings
    if largest not in ("secondary", "fugitive") or parts[largest] <= 0.0:
        return
    step, share = (
        ("smelting", s.smelting_escape) if r.converting is None else ("converting", s.converting_escape)
    )
    yield Message(
        "note",
        f"emissions.so2_from.{largest}",
        f"the largest source, {figure(parts[largest])} of {figure(sum(parts.values()))} kg/h SO2; it follows "
        f"from {one(share, i) / PERCENT:.3g} % of the gas escaping the primary hood "
        f"(emissions.{step}_escape), a share to be measured",
    )


def so2_by_source(e: EmissionsResult, i: int) -> dict[str, float]:
    """SO2 [kg/h] of one scenario, from each stack and past the hoods."""
    return {name: one(source.rate("so2"), i) * HOUR for name, source in e.sources.items()}


RULES: tuple[Callable[[Results, int], Iterator[Message]], ...] = (
    _permit,
    _permit_for_a_while,
    _nearly_air,
    _past_the_acid_plant,
    _largest_past_the_hoods,
)
