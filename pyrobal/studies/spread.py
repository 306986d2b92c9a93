"""How a setting is spread: by a stated error, between bounds, or by common practice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.case.unused import without_effect
from pyrobal.constants import PERCENT
from pyrobal.errors import CaseError, Fault
from pyrobal.fields import Deviation
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant.feed import ConcentrateSettings, FluxSettings, assay_of
from pyrobal.streams.deportment import read_table
from pyrobal.studies.grid import ends
from pyrobal.studies.variable import Variable, find, variables
from pyrobal.thermo.distribution import read_ratios

NORMAL, UNIFORM, TRIANGULAR = "normal", "uniform", "triangular"
_CUT: Final = 1e-3  # of a distribution; less beyond an end of the range is not worth a word


@dataclass(frozen=True)
class Spread:
    """The distribution of one setting, in SI.

    centre : mean of a normal distribution, mode of a triangular one
    width : standard deviation of a normal distribution, which is cut off at the range of the setting
    low, high : ends of the others
    """

    variable: Variable
    kind: str
    centre: float
    width: float = 0.0
    low: float = -math.inf
    high: float = math.inf

    def quantile(self, u: FloatN) -> FloatN:
        """The value (n,) below which the setting lies with probability ``u`` (n,)."""
        if self.kind == UNIFORM:
            return self.low + u * (self.high - self.low)
        if self.kind == TRIANGULAR:
            return self._triangular(u)
        from scipy.special import ndtri

        low, high = self._kept()
        return np.asarray(self.centre + self.width * ndtri(low + u * (high - low)))

    def _kept(self) -> tuple[float, float]:
        """The chances of a normal distribution below the lower and the upper end of the setting's range."""
        from scipy.special import ndtr

        v = self.variable
        low = 0.0 if v.low is None else float(ndtr((v.low - self.centre) / self.width))
        high = 1.0 if v.high is None else float(ndtr((v.high - self.centre) / self.width))
        return low, high

    def _triangular(self, u: FloatN) -> FloatN:
        span, left = self.high - self.low, self.centre - self.low
        rising = self.low + np.sqrt(u * span * left)
        falling = self.high - np.sqrt((1.0 - u) * span * (self.high - self.centre))
        return np.where(u * span < left, rising, falling)

    def text(self) -> str:
        """As a person writes it."""
        v = self.variable
        if self.kind == NORMAL:
            unit = "K" if v.unit == "degC" else v.unit
            width = replace(v, unit=unit).shown(self.width)
            return f"+-{width:.3g}{units.behind(unit)}{self._cut()}"
        parts = (self.low, self.centre, self.high) if self.kind == TRIANGULAR else (self.low, self.high)
        return ":".join(f"{v.shown(x):.5g}" for x in parts) + units.behind(v.unit)

    def _cut(self) -> str:
        """What is said of a normal distribution that its range cuts into."""
        low, high = self._kept()
        sides = (("below", self.variable.low, low), ("above", self.variable.high, 1.0 - high))
        ends = [
            f"{word} {self.variable.text(end, 5)}"
            for word, end, lost in sides
            if end is not None and lost > _CUT
        ]
        return (
            f" (none {' or '.join(ends)}: {100 * (1.0 - high + low):.2g} % of it is cut off)" if ends else ""
        )


@dataclass(frozen=True)
class Source:
    """What is uncertain for one reason; its spreads are drawn together and judged as one."""

    name: str
    spreads: tuple[Spread, ...]


# Standard deviations by common practice. Of an assay, relative, where the case does not state its precision:
_PRECISION: Final = {"Cu": 0.003, "Fe": 0.007, "S": 0.007, "SiO2": 0.015, "Au": 0.025, "Ag": 0.025}
_GANGUE, _MINOR = 0.03, 0.05  # other oxides, and everything else
# Of settings, relative to the value or in SI:
_RELATIVE: Final = {
    "smelting.heat_loss": 0.10, "smelting.heat_loss_per_tonne": 0.10, "smelting.fe_sio2": 0.02,
    "smelting.dust": 0.10, "smelting.air_in_leakage": 0.20, "smelting.magnetite_over_equilibrium": 0.15,
    "smelting.slag_entrained_copper": 0.20, "smelting.slag_entrained_matte": 0.20,
    "smelting.oxidic_copper_over_equilibrium": 0.15, "smelting.slag_sulfur_over_equilibrium": 0.20,
    "smelting.slag_magnetite": 0.05, "smelting.slag_copper": 0.05,
    "smelting.slag_sulfur": 0.10, "smelting.matte_oxygen": 0.10, "smelting.matte_iron": 0.01,
    "smelting.matte_sulfur": 0.01, "dryer.efficiency": 0.05,
    "converting.heat_loss": 0.10, "converting.dust": 0.20, "slag_cleaning.heat_loss": 0.10,
}  # fmt: skip
_ABSOLUTE: Final = {
    "smelting.matte_grade": 0.5 * PERCENT, "smelting.enrichment": 0.3 * PERCENT,
    "smelting.oxygen_purity": 0.3 * PERCENT, "smelting.oxygen_efficiency": 0.5 * PERCENT,
    "smelting.matte_temperature": 10.0, "smelting.slag_temperature": 10.0, "smelting.gas_temperature": 20.0,
}  # fmt: skip
_RATE, _MOISTURE, _DEPORTMENT = 0.005, 0.03, 0.20  # relative


def usual(inputs: Inputs) -> list[Source]:
    """What is uncertain in every plant, as far as this case has it; see the tables above."""
    present = {key: v for key, v in variables(inputs).items() if _number(inputs, v) not in (None, 0.0)}
    unused = tuple(without_effect(inputs))
    found = [source for source in _feeds(inputs, present) if source.spreads]
    for key, share in _RELATIVE.items():
        if key in present and key not in unused:
            found.append(Source(key, (_normal(inputs, present[key], relative=share),)))
    for key, width in _ABSOLUTE.items():
        if key in present and key not in unused:
            found.append(Source(key, (Spread(present[key], NORMAL, _value(inputs, present[key]), width),)))
    for name in ("smelting.distribution", "smelting.deportment"):
        shared = [
            v for key, v in present.items() if key.startswith(f"{name}.") and not key.endswith(".exponent")
        ]
        if shared:
            found.append(Source(name, tuple(_normal(inputs, v, _DEPORTMENT) for v in shared)))
    return found


def _feeds(inputs: Inputs, present: Mapping[str, Variable]) -> Iterator[Source]:
    names = [f"concentrate.{c.name}" for c in inputs.concentrate]
    for what, share in (("rate", _RATE), ("moisture", _MOISTURE)):
        keys = [f"{name}.{what}" for name in names]
        yield Source(
            f"concentrate.*.{what}", tuple(_normal(inputs, present[k], share) for k in keys if k in present)
        )
    items: dict[str, ConcentrateSettings | FluxSettings]
    items = dict(zip(names, inputs.concentrate, strict=True))
    items |= {f"flux.{name}": flux for name, flux in inputs.flux.items()}
    for name, item in items.items():
        lines = [v for k, v in present.items() if k.startswith(f"{name}.assay.")]
        yield Source(f"{name}.assay", tuple(_assay(inputs, v, item.precision) for v in lines))


def _assay(inputs: Inputs, variable: Variable, precision: Mapping[str, Deviation]) -> Spread:
    """As precise as the case says, or as is usual."""
    component = variable.key.rpartition(".")[2]
    if component in precision:
        value = _value(inputs, variable)
        return Spread(variable, NORMAL, value, precision[component].at(value))
    return _normal(inputs, variable, assay_deviation(component))


def assay_deviation(component: str) -> float:
    """The relative standard deviation that an assay usually has."""
    return _PRECISION.get(component, _GANGUE if "O" in component else _MINOR)


def _normal(inputs: Inputs, variable: Variable, relative: float) -> Spread:
    value = _value(inputs, variable)
    return Spread(variable, NORMAL, value, relative * abs(value))


def _number(inputs: Inputs, variable: Variable) -> float | None:
    value = variable.value(inputs)
    return None if value is None else float(value[0])


def _value(inputs: Inputs, variable: Variable) -> float:
    value = _number(inputs, variable)
    if value is None:
        raise ValueError("holds no number in this case; give it one with --set, or a range LOW:HIGH")
    return value


def with_deportment(inputs: Inputs) -> Inputs:
    """The inputs with ratios, and where there is none shares, written out for every minor element fed.

    So they can be varied; shares of an element are scaled to a sum of one when they are used.
    """
    fed = {name for c in inputs.concentrate for name, x in assay_of(c).items() if np.any(x > 0)}
    s, lines = inputs.smelting, read_ratios()
    shares = {
        e: {o: np.array([x]) for o, x in row.items()}
        for e, row in read_table("smelting").shares.items()
        if e in fed and e not in lines
    }
    ratios = {
        e: {"slag_matte": np.array([line.slag_matte])} | s.distribution.get(e, {})
        for e, line in lines.items()
        if e in fed and e not in s.deportment
    }
    smelting = replace(s, deportment={**shares, **s.deportment}, distribution={**s.distribution, **ratios})
    return replace(inputs, smelting=smelting)


def spreads(case: Case, texts: Mapping[str, str], option: str = "--vary") -> list[Source]:
    """What the user states, a source for each key: see ``spread``. Raises CaseError with every fault."""
    found, faults = [], []
    for key, text in texts.items():
        try:
            found.append(Source(key, (spread(case.inputs, find(case.inputs, key), text),)))
        except ValueError as error:
            faults.append(Fault(option, None, key, str(error)))
    if faults:
        raise CaseError(faults)
    return found


def spread(inputs: Inputs, variable: Variable, text: str) -> Spread:
    """One distribution: "+-0.5 %", "+-2 % rel" (of the value), "LOW:HIGH", or "LOW:MODE:HIGH".

    Raises ValueError with a sentence for its author.
    """
    text = text.strip()
    if text.startswith(("+-", "\N{PLUS-MINUS SIGN}")):
        return _stated(inputs, variable, text.removeprefix("+-").removeprefix("\N{PLUS-MINUS SIGN}").strip())
    parts = [part.strip() for part in text.split(":")]
    if len(parts) not in (2, 3):
        raise ValueError(f'"{text}" is not +-ERROR, LOW:HIGH or LOW:MODE:HIGH')
    low, high = ends(variable, parts[0], parts[-1])
    mode = ends(variable, parts[1], parts[-1])[0] if len(parts) == 3 else 0.5 * (low + high)
    if not low <= mode <= high or low == high:
        raise ValueError(f'"{text}" is an empty range; LOW must be below HIGH, and MODE between them')
    return Spread(variable, TRIANGULAR if len(parts) == 3 else UNIFORM, mode, low=low, high=high)


def _stated(inputs: Inputs, variable: Variable, text: str) -> Spread:
    centre = _value(inputs, variable)
    if text.endswith("rel"):
        width = abs(centre) * relative(text.removesuffix("rel"))
    else:
        width = variable.spread(text)
    if width == 0.0:
        raise ValueError(f'"{text}" spreads nothing; leave it out')
    return Spread(variable, NORMAL, centre, width)


def relative(text: str) -> float:
    """A percentage of a value, as a fraction. Raises ValueError."""
    share = text.strip().removesuffix("%").strip()
    try:
        return abs(float(share)) * PERCENT
    except ValueError:
        raise ValueError(f'"{text.strip()}" is not a percentage of the value, e.g. +-2 % rel') from None
