"""The site's own limits, each against everything it applies to. No limit is built in."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN, FloatN
from pyrobal.errors import Reason
from pyrobal.plant.emissions.settings import STACKS
from pyrobal.plant.emissions.stacks import ACID_PLANT, SECONDARY, EmissionsResult

_ROUNDING = 1e-9
_STACK = "in the gas of this stack is above the limit that applies to it"
# Reading a limit is compared with -> what is said where it is broken.
CAUTIONS = {
    "emissions.stack_so2": "SO2 in the first stack is above emissions.so2_stack_limit",
    "emissions.stack_mist": "SO3 and acid mist in the first stack are above emissions.mist_limit",
    **{f"emissions.stack.{x}.so2": f"SO2 {_STACK}, emissions.so2_stack_limit" for x in STACKS},
    **{f"emissions.stack.{x}.mist": f"acid mist {_STACK}, emissions.mist_limit" for x in STACKS},
    "emissions.stack.secondary.so2": (
        f"SO2 {_STACK}, emissions.secondary_so2_limit, or so2_stack_limit where that is not given"
    ),
    "emissions.so2": "SO2 of the site is above emissions.so2_limit",
    "emissions.so2_per_t_cu": "SO2 per tonne of copper is above emissions.so2_per_t_cu_limit",
    "emissions.secondary_flow": (
        "the secondary hoods catch more gas than they are said to draw (emissions.secondary_flow, or a usual "
        "flow of each hood); their gas is stated undiluted"
    ),
    "emissions.so2_per_t_acid": "SO2 of the first stack per tonne of acid is above its limit",
    "emissions.sulfur_capture": "sulfur capture is below emissions.capture_limit",
}
SAFETY = (
    "averages of a steady balance, not a compliance test: permits name averaging times, start-ups and "
    "methods of measurement. SO2 exposure: NIOSH REL 2 ppm (8 h), 5 ppm (15 min), IDLH 100 ppm; OSHA PEL "
    "5 ppm. Local permit and licensed practice decide"
)


def cautions(r: EmissionsResult) -> dict[str, BoolN]:
    """(N,) True where a limit of the case is broken, by reading; only those the case gives are there."""
    solved = r.reason == Reason.SOLVED
    with np.errstate(all="ignore"):
        found = {key: x > bound for key, (x, bound) in _held(r).items() if bound is not None}
        if r.settings.capture_limit is not None:
            found["emissions.sulfur_capture"] = r.capture < r.settings.capture_limit
        if SECONDARY in r.stacks:
            found["emissions.secondary_flow"] = r.stacks[SECONDARY].flow > r.drawn * (1.0 + _ROUNDING)
    return {key: np.asarray(broken & solved) for key, broken in found.items()}


def _held(r: EmissionsResult) -> dict[str, tuple[FloatN, FloatN | None]]:
    """Reading -> (N,) what may not be above its limit, and the limit."""
    s, first = r.settings, next(iter(r.stacks))
    found: dict[str, tuple[FloatN, FloatN | None]] = {
        "emissions.so2": (r.so2, s.so2_limit),
        "emissions.so2_per_t_cu": (r.so2_per_copper, s.so2_per_t_cu_limit),
    }
    if first == ACID_PLANT:
        found["emissions.so2_per_t_acid"] = (r.so2_per_acid, s.so2_per_t_acid_limit)
    for kind, limit in (("so2", s.so2_stack_limit), ("mist", s.mist_limit)):
        for name, x in r.held_to(kind).items():
            key = f"emissions.stack_{kind}" if name == first else f"emissions.stack.{name}.{kind}"
            found[key] = (x, limit)
    if s.secondary_so2_limit is not None and SECONDARY in r.stacks:
        own = (r.stacks[SECONDARY].concentration("so2"), s.secondary_so2_limit)
        found["emissions.stack.secondary.so2"] = own
    return found
