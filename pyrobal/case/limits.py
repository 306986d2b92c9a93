"""The limits of a case: which reading one is on, its unit, and what must hold between its settings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from pyrobal import units
from pyrobal.case.values import called
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.limit import LimitSettings
from pyrobal.readings import registry

SIDES: Final = ("most", "least")


def key(raw: Any) -> str:
    """The key of a reading. Raises ValueError with the nearest."""
    if not isinstance(raw, str):
        raise ValueError(f"is {called(raw)}; the key of a reading in quotes is needed")
    try:
        registry.find(raw)
    except KeyError as error:
        raise ValueError(str(error.args[0])) from None
    if raw.startswith("limit."):
        raise ValueError("is the use of a limit; hold the reading itself to a bound")
    return raw


def unit(reading: str, bounds: Sequence[Any]) -> str | None:
    """The plant unit of a reading, None if unknown; of the two that a fuel may have, that of the bounds."""
    if not registry.known(reading):
        return None
    offered = registry.find(reading)[0].unit_text.split(" or ")
    written = [text for text in bounds if isinstance(text, str)]
    return next((u for u in offered if all(_fits(text, u) for text in written)), offered[0])


def _fits(text: str, unit: str) -> bool:
    try:
        units.parse(text, unit)
    except ValueError:
        return False
    return True


def contradictions(inputs: Inputs) -> Iterator[tuple[str, str]]:
    """(key, what is wrong and what to do) of every limit that cannot stand."""
    for limit in inputs.limit:
        here = f"limit.{limit.name}"
        if limit.most is None and limit.least is None:
            yield here, f"needs a bound: most or least{'' if limit.unit == '-' else f', in {limit.unit}'}"
        if limit.most is not None and limit.least is not None:
            yield f"{here}.least", "most and least are two limits; give each a name of its own"
        if registry.known(limit.reading):
            for step in registry.find(limit.reading)[0].needs.split("+"):
                if getattr(inputs, step, True) is None:
                    yield f"{here}.reading", f"there is no {limit.reading}: the case has no [{step}]"
    yield from _repeated(inputs)


def _repeated(inputs: Inputs) -> Iterator[tuple[str, str]]:
    """Two limits on one side of a reading, and bounds that no value can meet together."""
    kept: dict[tuple[str, bool], LimitSettings] = {}
    for limit in (one for one in inputs.limit if (one.most is None) != (one.least is None)):
        first = kept.setdefault((limit.reading, limit.upper), limit)
        side = SIDES[not limit.upper]
        if first is not limit and limit.reading != "?":
            yield (
                f"limit.{limit.name}.{side}",
                f'bounds the same side of a reading as "{first.name}"',
            )
    for (reading, upper), limit in kept.items():
        low = kept.get((reading, False))
        if upper and low is not None and limit.bound[0] < low.bound[0]:
            least = units.write(float(low.bound[0]), low.unit)
            yield f"limit.{limit.name}.most", f'no value is both: "{low.name}" asks for {least} or more'
