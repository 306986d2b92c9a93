"""The site's own limits, each against everything it applies to. No limit is built in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN
from pyrobal.errors import Reason
from pyrobal.plant.emissions.stacks import ACID_PLANT, SECONDARY, EmissionsResult

_ROUNDING = 1e-9
_MATTER = {"so2": ("SO2", "so2_stack_limit"), "mist": ("acid mist", "mist_limit")}
_HOODS = "emissions.secondary_flow"
CAUTIONS = {
    _HOODS: (
        "the secondary hoods catch more gas than they are said to draw (emissions.secondary_flow, or a usual "
        "flow of each hood); their gas is stated undiluted"
    ),
}
SAFETY = (
    "averages of a steady balance, not a compliance test: permits name averaging times, start-ups and "
    "methods of measurement. SO2 exposure: NIOSH REL 2 ppm (8 h), 5 ppm (15 min), IDLH 100 ppm; OSHA PEL "
    "5 ppm. Local permit and licensed practice decide"
)


@dataclass(frozen=True, eq=False)
class Held:
    """A figure of the permit, and the bound of a setting of the emissions that it is held against.

    value, bound : (N,), the bound None where the case gives none; what : the figure in words
    upper : whether the value is to stay below the bound
    """

    what: str
    setting: str
    value: FloatN
    bound: FloatN | None
    upper: bool = True

    @property
    def broken(self) -> BoolN:
        """(N,) True where the value lies beyond the bound."""
        assert self.bound is not None
        return np.asarray(self.value > self.bound if self.upper else self.value < self.bound)


def held(r: EmissionsResult) -> dict[str, Held]:
    """Reading -> what a limit of the case applies to; only the limits that the case gives."""
    s = r.settings
    found = {
        "emissions.so2": Held("SO2 of the site", "so2_limit", r.so2, s.so2_limit),
        "emissions.so2_per_t_cu": Held(
            "SO2 per tonne of copper", "so2_per_t_cu_limit", r.so2_per_copper, s.so2_per_t_cu_limit
        ),
        "emissions.sulfur_capture": Held(
            "sulfur capture", "capture_limit", r.capture, s.capture_limit, upper=False
        ),
    }
    if next(iter(r.stacks)) == ACID_PLANT:
        found["emissions.so2_per_t_acid"] = Held(
            "SO2 of the first stack per tonne of acid", "so2_per_t_acid_limit", r.so2_per_acid,
            s.so2_per_t_acid_limit,
        )  # fmt: skip
    for kind, (matter, setting) in _MATTER.items():
        for name, value in r.held_to(kind).items():
            found[f"emissions.stated.{name}.{kind}"] = _in_stack(r, name, matter, setting, value)
    if s.secondary_so2_limit is not None and SECONDARY in r.stacks:
        value = r.stacks[SECONDARY].concentration("so2")
        found[f"emissions.stated.{SECONDARY}.so2"] = _in_stack(
            r, SECONDARY, "SO2", "secondary_so2_limit", value
        )
    return {key: one for key, one in found.items() if one.bound is not None}


def _in_stack(r: EmissionsResult, name: str, matter: str, setting: str, value: FloatN) -> Held:
    where = "gas of the secondary hoods" if name == SECONDARY else f"{name.replace('_', ' ')} stack"
    return Held(f"{matter} in the {where}", setting, value, getattr(r.settings, setting))


def cautions(r: EmissionsResult) -> dict[str, BoolN]:
    """(N,) True by reading where a limit of the case is broken, and hoods draw less than they catch."""
    with np.errstate(all="ignore"):
        found = {key: one.broken for key, one in held(r).items()}
        if SECONDARY in r.stacks:
            found[_HOODS] = r.stacks[SECONDARY].flow > r.drawn * (1.0 + _ROUNDING)
    return {key: np.asarray(broken & (r.reason == Reason.SOLVED)) for key, broken in found.items()}
