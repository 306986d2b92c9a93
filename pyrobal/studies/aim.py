"""Aim: the settings with which readings take wanted values, in every scenario at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal import units
from pyrobal.arrays import BoolN, Floats
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Fault, NotSolved, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.grid import ends
from pyrobal.studies.measure import noise, reading_units, reading_value
from pyrobal.studies.target import Target
from pyrobal.studies.together import Together, conflict
from pyrobal.studies.variable import Variable, find


@dataclass(frozen=True)
class Aim:
    """Targets, each with the setting that stands beside it; several are met together by all of them."""

    targets: tuple[Target, ...]

    @property
    def settings(self) -> tuple[Variable, ...]:
        """What is chosen, (K)."""
        return tuple(target.by for target in self.targets)

    @property
    def readings(self) -> list[str]:
        """What is aimed at, (K)."""
        return [target.reading for target in self.targets]

    @property
    def keys(self) -> set[str]:
        """The keys of the settings."""
        return {variable.key for variable in self.settings}

    @property
    def together(self) -> Together:
        """The targets as one problem."""
        low, high = (np.array([getattr(t, side) for t in self.targets]) for side in ("low", "high"))
        return Together(self.targets, self.settings, low, high)

    def solved(self, inputs: Inputs) -> tuple[Floats, BoolN]:
        """The settings (N, K) in SI, nan where nothing within their ranges meets the aim; where found (N,).

        One target is enclosed by a bracket (``Target.solved``), several are met by Newton's method.
        """
        if len(self.targets) == 1:
            met = self.targets[0].solved(inputs)
            return met.x[:, None], met.found
        x, found, _ = self.together.solved(inputs)
        return np.where(found[:, None], x, np.nan), found

    def put(self, inputs: Inputs, x: Floats) -> Inputs:
        """The inputs with settings x (N, K)."""
        return self.together.put(inputs, x)


def aiming(case: Case, aim: str | Sequence[str], by: str | Sequence[str], like: Case | None = None) -> Aim:
    """What pairs of ``--aim READING=VALUE --by SETTING`` or ``--by SETTING=LOW:HIGH`` mean.

    Without a range, that of the setting's declaration. Raises CaseError with every fault.

    like : a case with the same readings that is solved already, to be asked for their units
    """
    aims, settings = ([x] if isinstance(x, str) else list(x) for x in (aim, by))
    faults: list[Fault] = []
    if len(aims) != len(settings):
        text = f"{len(aims)} of --aim and {len(settings)} of --by; each target takes a setting of its own"
        faults.append(Fault("--aim", None, "", text))
    targets = [_target(case, like or case, *pair, faults) for pair in zip(aims, settings, strict=False)]
    found = [target for target in targets if target is not None]
    for option, keys in (("--aim", [t.reading for t in found]), ("--by", [t.by.key for t in found])):
        twice = dict.fromkeys(key for key in keys if keys.count(key) > 1)
        faults += [Fault(option, None, key, "is given twice") for key in twice]
    if faults:
        raise CaseError(faults)
    return Aim(tuple(found))


def _target(case: Case, like: Case, aim: str, by: str, faults: list[Fault]) -> Target | None:
    before = len(faults)
    reading, equals, wanted = (part.strip() for part in aim.partition("="))
    value = 0.0
    if not equals:
        faults.append(Fault("--aim", None, "", f'"{aim}" is not READING=VALUE'))
    else:
        try:
            value = reading_value(wanted, reading_units(like, [reading], "--aim")[reading])
        except ValueError as error:
            faults.append(Fault("--aim", None, reading, str(error)))
        except CaseError as error:
            faults += error.faults
    key, _, span = (part.strip() for part in by.partition("="))
    try:
        variable = find(case.inputs, key)
        low, high = setting_range(variable, span)
    except ValueError as error:
        faults.append(Fault("--by", None, key, str(error)))
    if len(faults) > before:
        return None
    return Target(reading, value, variable, low, high, noise(like, reading))


def setting_range(variable: Variable, span: str) -> tuple[float, float]:
    """The ends of "LOW:HIGH" in SI, or of the declaration. Raises ValueError where there are none."""
    if span:
        parts = span.split(":")
        if len(parts) != 2:
            raise ValueError(f'"{span}" is not LOW:HIGH')
        low, high = ends(variable, *parts)
    elif variable.low is None or variable.high is None:
        raise ValueError(f"has no upper or lower bound of its own; say {variable.key}=LOW:HIGH")
    else:
        low, high = variable.low, variable.high
    if not low < high:
        raise ValueError(f'"{span}" is an empty range; LOW must be below HIGH')
    return low, high


def aimed(case: Case, aim: Aim) -> Case:
    """The case with the settings that meet the aim. Raises NotSolved where none within their ranges do."""
    x = _met(case, aim)
    if "\n" in case.text and len(x) == 1:
        return load_case(case.text, [*case.overrides, *_written(aim, x)])
    return dataclasses.replace(case, inputs=aim.put(case.inputs, x))


def chosen(case: Case, aim: Aim, near: Case | None = None) -> list[str]:
    """The settings that meet the aim in a single case, as ``--set`` takes them. Raises NotSolved.

    near : the same case with settings that may nearly meet it; what is found from there is taken
    """
    if near is not None:
        x = aim.together.near(near.inputs)
        if x is not None:
            return _written(aim, x[None, :])
    return _written(aim, _met(case, aim))


def _met(case: Case, aim: Aim) -> Floats:
    if len(aim.targets) == 1:
        x, found = aim.solved(case.inputs)
        if not found.all():
            raise NotSolved(Reason.AIM_OUT_OF_REACH, _reach(case, aim.targets[0]))
        return x
    x, found, misses = aim.together.solved(case.inputs)
    if not found.all():
        raise NotSolved(Reason.AIM_OUT_OF_REACH, _out_of_reach(case, aim, x, misses))
    return x


def _written(aim: Aim, x: Floats) -> list[str]:
    return [f"{v.key}={v.text(float(value))}" for v, value in zip(aim.settings, x[0], strict=True)]


def stretches(case: Case, aim: Aim) -> list[str]:
    """What there is to say where the one target of an aim holds over a stretch of its setting."""
    if len(aim.targets) > 1:
        return []
    (target,) = aim.targets
    met = target.solved(case.inputs)
    rows = np.flatnonzero(met.high > met.low)
    shown = ((target.by.text(float(met.low[i]), 4), target.by.text(float(met.high[i]), 4)) for i in rows)
    return [f"{target.reading} is the same from {target.by.key} = {low} to {high}" for low, high in shown]


def _out_of_reach(case: Case, aim: Aim, x: Floats, misses: Floats) -> str:
    """Which of several targets stands against which, and the nearest: settings x and the misses there."""
    stand = conflict(case.inputs, aim.together)
    wanted = [f"{t.reading} = {_shown(case, t, t.value)}" for t in stand]
    if not np.isfinite(misses).all():
        return f"nothing is solved within the ranges of {', '.join(aim.keys)}"
    said = (
        f"{wanted[0]} cannot be met with these settings, whatever the others"
        if len(wanted) == 1
        else f"these stand against each other: {'; '.join(wanted)}"
    )
    near = [f"{v.key} = {v.text(float(value), 4)}" for v, value in zip(aim.settings, x[0], strict=True)]
    there = [
        f"{t.reading} = {_shown(case, t, t.value + float(m))}"
        for t, m in zip(aim.targets, misses[0], strict=True)
    ]
    return f"{said}; the nearest is {', '.join(there)} with {', '.join(near)}"


def _shown(case: Case, target: Target, value: float) -> str:
    return units.write(value, reading_units(case, [target.reading], "--aim")[target.reading], digits=4)


def _reach(case: Case, target: Target) -> str:
    between = f"with {target.by.key} from {target.by.text(target.low, 6)} to {target.by.text(target.high, 6)}"
    reach = target.reach(case.inputs)
    if reach is None:
        return f"nothing is solved {between}"
    least, most = (_shown(case, target, x) for x in reach)
    return f"{target.reading} is between {least} and {most} {between}, where it has an answer"
