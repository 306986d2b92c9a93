"""The one path through the plant: feed, dryer, the copper circuit closed on its recycles, the gas."""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, IntN, join, joinable, take
from pyrobal.errors import Reason
from pyrobal.flowsheet.alone import acid_plant_alone
from pyrobal.flowsheet.boundary import plant_ledger
from pyrobal.flowsheet.circuit import (
    WAYS,
    Circuit,
    Feeds,
    Loop,
    nothing_back,
    once_around,
    pack,
    units_of,
)
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.offgas import GasSide, gas_side
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.unsolved import RECYCLE, Unsolved
from pyrobal.numerics.newton import Roots
from pyrobal.numerics.recycle import FixedPoint, fixed_point
from pyrobal.plant import converting, dryer, feed, load
from pyrobal.streams.fuel import Fuel, default_fuels, fuel
from pyrobal.streams.material import Material
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.trace.graph import current, paused
from pyrobal.trace.solved import solved

_ROUNDS = 6  # what is recycled from less matte changes what there is time for, by little
_SETTLED = 1e-6  # share of the matte
BLOCK = 16384  # scenarios solved together; far beyond it their streams no longer fit the cache
_S = ELEMENTS.index("S")


def solve(inputs: Inputs) -> Results:
    """Balance the plant for every scenario of ``inputs``.

    Raises ValueError where settings disagree on the number of scenarios or name a fuel that is not there.
    """
    n = inputs.scenarios
    if n <= BLOCK:
        return _solve(inputs, n)
    edges = np.linspace(0, n, -(-n // BLOCK) + 1).astype(int)
    blocks = [slice(int(a), int(b)) for a, b in itertools.pairwise(edges)]
    parts = [_solve(inputs.take(block), block.stop - block.start) for block in blocks]
    joined: Results = join(parts)
    return replace(joined, inputs=inputs)


def _upsets(usual: Results) -> dict[str, Results]:
    """The states of the upsets, each sought from what goes round in the usual one."""
    n = usual.scenarios
    back = usual.circuit.back
    return {name: _solve(usual.inputs.in_upset(name), n, back) for name in usual.inputs.upset}


def _solve(inputs: Inputs, n: int, back: Mapping[str, Stream] | None = None) -> Results:
    """back : where the recycles are sought from; None for what comes back first"""
    if inputs.acid_feed is not None:
        return acid_plant_alone(inputs, n)
    fed = feed.solve(inputs.concentrate, inputs.charge, inputs.flux, inputs.revert)
    fuels = _fuels(inputs)
    dried = None
    if inputs.dryer is not None:
        moisture = inputs.charge.moisture_after_drying
        burnt = _named(fuels, inputs.dryer.fuel)
        dried = dryer.solve(fed.concentrates, moisture, inputs.site, inputs.dryer, burnt)
    feeds = _feeds(fed, dried, fuels)
    gas_of = functools.partial(_gas, inputs, fed, dried)
    circuit, recycle = _closed(inputs, feeds, n, back)
    gas = gas_of(circuit, None)
    if gas.load is not None and 0 < (late := _late(_time_for(gas.load), None)).sum() < n:
        first = _results(inputs, n, fed, dried, replace(feeds, blown=np.ones(1)), circuit, gas, recycle)
        if (found := _in_their_places(first, np.flatnonzero(late))) is not None:
            return found
    for _ in range(_ROUNDS):
        if gas.load is None or not _late(blown := _time_for(gas.load), feeds.blown).any():
            break
        feeds = replace(feeds, blown=blown)
        circuit, recycle = _closed_again(inputs, feeds, n, circuit)
        gas = gas_of(circuit, blown)
    return _results(inputs, n, fed, dried, feeds, circuit, gas, recycle)


def _in_their_places(first: Results, late: IntN) -> Results | None:
    """The scenarios in which the schedule leaves no time for all the matte are sought anew, the others are
    not worked out again with them. None where the two cannot stand in one tree."""
    rest = np.setdiff1d(np.arange(first.scenarios), late)
    anew = _solve(take(first.inputs, late), len(late))
    aside = take(anew.circuit.aside, slice(0, 1)).scaled(np.zeros(1))  # of which the others have none
    first = replace(first, circuit=replace(first.circuit, aside=aside))
    if not joinable(first, anew):
        return None
    joined = join([take(first, rest), anew], (len(rest), len(late)))
    return replace(take(joined, np.argsort(np.concatenate([rest, late]))), inputs=first.inputs)


def _results(
    inputs: Inputs,
    n: int,
    fed: feed.FeedResult,
    dried: dryer.DryerResult | None,
    feeds: Feeds,
    circuit: Circuit,
    gas: GasSide,
    recycle: FixedPoint | None,
) -> Results:
    unsolved = _unsolved(n, inputs, fed, circuit, recycle, gas)
    return Results(inputs, fed, dried, feeds, circuit, gas, recycle, unsolved, _upsets)


def _time_for(found: load.LoadResult) -> FloatN:
    """(N,) share of the matte that the schedule leaves time for; all of it where there is no schedule."""
    return np.where(found.reason == Reason.SOLVED, found.blown, 1.0)


def _late(blown: FloatN, before: FloatN | None) -> BoolN:
    """(N,) True where there is time for another share of the matte than was taken."""
    return np.asarray(np.abs(blown - (np.ones(1) if before is None else before)) > _SETTLED)


def _gas(
    inputs: Inputs,
    fed: feed.FeedResult,
    dried: dryer.DryerResult | None,
    circuit: Circuit,
    blown: FloatN | None,
) -> GasSide:
    sulfur = _sulfur_fed(inputs, fed, dried, circuit)
    return gas_side(inputs, circuit, dried, sulfur, blown)


def _sulfur_fed(
    inputs: Inputs, fed: feed.FeedResult, dried: dryer.DryerResult | None, circuit: Circuit
) -> FloatN:
    """(N,) [mol/s] with charge and fuels, for the sulfur that is kept; nothing where nobody asks."""
    if inputs.emissions is None:
        return np.zeros(1)
    return plant_ledger(inputs, fed, dried, circuit, GasSide()).elements_in()[:, _S]


@np.errstate(all="ignore")  # scenarios without an answer carry nan; their reason says why
def _closed(
    inputs: Inputs, feeds: Feeds, n: int, back: Mapping[str, Stream] | None = None
) -> tuple[Circuit, FixedPoint | None]:
    """The circuit with everything that comes back put back."""
    with paused():
        first = once_around(inputs, feeds, {}, rough=True)
    if not first.returns:
        done = first.converting is None and current() is None
        return first if done else once_around(inputs, feeds, {}), None
    known = back is not None and set(back) == set(first.returns)
    with paused():
        back = back if known and back else first.foreseen()
    loop, found = settled(inputs, feeds, back, n, first.roots())
    return loop.once(found.tears), found


@np.errstate(all="ignore")
def _closed_again(inputs: Inputs, feeds: Feeds, n: int, before: Circuit) -> tuple[Circuit, FixedPoint | None]:
    """The circuit as it is with other ``feeds`` of the same species, from one that is closed."""
    if not before.returns:
        return _closed(inputs, feeds, n)
    loop = Loop(inputs, feeds, before.returns, before.roots())
    found = _found(loop, pack(before.back, loop.pattern, n))
    return loop.once(found.tears), found


def settled(
    inputs: Inputs, feeds: Feeds, back: Mapping[str, Stream], n: int, near: Mapping[str, Roots]
) -> tuple[Loop, FixedPoint]:
    """What goes round, sought from what first comes ``back``, and from roots of the steps."""
    with paused():
        second = once_around(
            inputs, feeds, back, near, rough=True
        )  # only now does every way carry all its species
        loop = Loop(inputs, feeds, second.returns, second.roots())
        start = pack(second.foreseen(), loop.pattern, n)
    return loop, _found(loop, start)


def _found(loop: Loop, start: Floats) -> FixedPoint:
    """What goes round, sought from ``start`` (N, K)."""
    with paused():
        start = np.where(np.isfinite(start).all(axis=1, keepdims=True), start, nothing_back(loop.pattern))
        found = fixed_point(loop, start)
    tears = solved(
        found.tears, lambda sent: loop.back(sent) - sent, "recycles closed", units_of(loop.pattern)
    )
    return replace(found, tears=tears)


def _fuels(inputs: Inputs) -> dict[str, Fuel]:
    return {name: fuel(settings) for name, settings in {**default_fuels(), **inputs.fuel}.items()}


def _named(fuels: Mapping[str, Fuel], name: str) -> Fuel:
    if name not in fuels:
        raise ValueError(f"no [fuel.{name}] in the case; there is {', '.join(fuels)}")
    return fuels[name]


def _feeds(fed: feed.FeedResult, dried: dryer.DryerResult | None, fuels: Mapping[str, Fuel]) -> Feeds:
    blend = fed.concentrates if dried is None else dried.concentrates
    materials = [Material.of(stream) for stream in blend.values()]
    materials += [fed.reverts["smelting"]] if "smelting" in fed.reverts else []
    return Feeds(
        smelting=functools.reduce(operator.add, materials),
        converting={blow: fed.reverts[blow] for blow in converting.BLOWS if blow in fed.reverts},
        anode_furnace=fed.reverts.get("anode_furnace"),
        concentrate_rate=fed.dry_rate,
        silica=fed.fluxes.get("silica"),
        lime=fed.fluxes.get("lime"),
        fuels=fuels,
    )


def _unsolved(
    n: int, inputs: Inputs, fed: feed.FeedResult, c: Circuit, recycle: FixedPoint | None, gas: GasSide
) -> Unsolved:
    """The reason of every step of the case, in plant order."""
    finite = np.where(inputs.finite(), fed.reason, Reason.INPUT_NOT_FINITE)
    own = {"feed": np.broadcast_to(finite, (n,)).astype(np.int64)}
    own |= {name: step.reason for name, step in c.steps().items()}
    if recycle is not None:
        own[RECYCLE] = np.where(recycle.converged, Reason.SOLVED, Reason.RECYCLE_NOT_CLOSED)
    own |= {name: step.reason for name, step in gas.steps().items()}
    return Unsolved(own, tuple(WAYS[name] for name in c.back))
