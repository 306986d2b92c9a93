"""What is said of the closures by which matte and slag are predicted."""

from __future__ import annotations

from collections.abc import Iterator

from pyrobal.constants import PERCENT, celsius
from pyrobal.flowsheet.results import Results
from pyrobal.readings import practice
from pyrobal.readings.assay import element_share, slag_assay
from pyrobal.readings.message import Message
from pyrobal.readings.message import at as _at
from pyrobal.readings.message import one as _one
from pyrobal.thermo import solutions

LEAST_SILICA = 20 * PERCENT  # of a slag that is still an iron silicate, common practice
SLAG_CLOSURES = frozenset(("smelting.slag_copper", "smelting.slag_magnetite"))
CLOSURE_COLD, CLOSURE_HOT = celsius(1150), celsius(1350)  # range of the distribution data


def correlation_messages(r: Results, i: int) -> Iterator[Message]:
    """Which closures stand behind the melts, whether they hold here, and what practice shows beside them."""
    yield from _beside_practice(r, i)
    yield from _not_silicate(r, i)
    yield from _own_matte(r, i)
    s = r.smelting.settings
    grade, T = _at(r, "smelting.matte.grade", i), _at(r, "smelting.slag.temperature", i)
    for closure, settings in closures_used(r):
        origin = "as read in the source" if closure.seen else "coefficients from memory"
        range_ = f"{closure.low / PERCENT:g} to {closure.high / PERCENT:g} % Cu in matte"
        inside = practice.within(grade, closure.low, closure.high) and practice.within(
            T, CLOSURE_COLD, CLOSURE_HOT
        )
        yield Message(
            "note" if inside else "caution",
            settings,
            f"predicted by {closure.source}; {origin}; for {range_}, 1150 to 1350 degC"
            + (
                ""
                if inside
                else f"; this result, {grade / PERCENT:.1f} % Cu and {T - 273.15:.0f} degC, is outside"
            ),
        )
    if s.slag_magnetite is None and s.slag_magnetite_model == "kress_carmichael":
        factor = _one(s.ferric_over_equilibrium, i)
        yield Message(
            "note",
            "smelting.ferric_over_equilibrium",
            f"ferric iron is {factor:g} times that of the melt: what plants report beyond it as magnetite is "
            "solid spinel and disequilibrium; a factor to tune by your own slag assays",
        )
    elif s.slag_magnetite is None:
        factor = _one(s.magnetite_over_equilibrium, i)
        yield Message(
            "note",
            "smelting.magnetite_over_equilibrium",
            "local equilibrium gives a fifth to a third of the magnetite plants report in slag, so it is "
            f"multiplied by {factor:g}, fitted to common practice: a factor to tune by your own slag assays",
        )
    if s.slag_copper is None:
        factor = _one(s.oxidic_copper_over_equilibrium, i)
        yield Message(
            "note",
            "smelting.oxidic_copper_over_equilibrium",
            f"copper dissolved as oxide is {factor:g} times that of local equilibrium, and suspended matte a "
            "set share of the slag, both fitted to common practice: tune them by your own slag assays",
        )
    yield Message(
        "note",
        "smelting.deportment",
        "minor elements follow survey mid-values from memory: an order of magnitude, to be replaced "
        "by your own",
    )


def _not_silicate(r: Results, i: int) -> Iterator[Message]:
    """The closures of the slag are of iron silicate; lime-only slag is another solvent."""
    named = [closure.name for closure, setting in closures_used(r) if setting in SLAG_CLOSURES]
    silica, lime = (_one(slag_assay(r.smelting.slag, oxide), i) for oxide in ("SiO2", "CaO"))
    if named and (silica < LEAST_SILICA or lime > silica):
        yield Message(
            "caution",
            "smelting.slag.assay.SiO2",
            f"{silica / PERCENT:.0f} % SiO2 and {lime / PERCENT:.0f} % CaO is no iron silicate slag; its "
            f"copper and magnetite are predicted by correlations of iron silicate ({', '.join(named)}), "
            "outside their range, and its minor elements by ratios of iron silicate, while calcium ferrite "
            "takes up more As, Sb and Bi: give your own slag_copper, slag_magnetite and distribution ratios",
        )


def _beside_practice(r: Results, i: int) -> Iterator[Message]:
    """The band of common practice beside what is predicted of the slag."""
    s, grade = r.smelting.settings, _at(r, "smelting.matte.grade", i)
    for what, given in (("copper", s.slag_copper), ("magnetite", s.slag_magnetite)):
        key = f"smelting.slag.{what}"
        text = practice.slag_beside(what, _at(r, key, i), grade) if given is None else None
        if text is not None:
            yield Message("note", key, text)


def _own_matte(r: Results, i: int) -> Iterator[Message]:
    """What iron or sulfur set for the matte implies, and what was taken to be free."""
    s = r.smelting.settings
    own = [f"matte_{x}" for x, v in (("iron", s.matte_iron), ("sulfur", s.matte_sulfur)) if v is not None]
    if not own:
        return
    metal, other = (_at(r, f"smelting.matte.{key}", i) / PERCENT for key in ("metal", "other"))
    oxygen = _one(element_share(r.smelting.matte, "O"), i) / PERCENT
    usual = _one(solutions.matousek_oxygen(r.smelting.unknowns.grade), i)
    implied = f"iron that sulfur does not bind is oxide: {oxygen:.2g} % O"
    implied += f", where Matousek 1996 has {usual / PERCENT:.2g} %" if s.matte_oxygen is None else " as set"
    if metal > SEEN:
        implied += f"; sulfur that is missing leaves {metal:.2g} % copper as metal, as iron holds sulfur best"
    if other > SEEN:
        implied += f"; {other:.2g} % is matter that no assay names, taken from that of the charge"
    yield Message(
        "note", f"smelting.{own[0]}", f"the matte is made up to the {' and '.join(own)} set; {implied}"
    )


SEEN = 0.005  # wt%


def closures_used(r: Results) -> list[tuple[solutions.Correlation, str]]:
    """The correlations behind a result, each with the setting it stands in for."""
    s = r.smelting.settings
    matte = solutions.GOTO if s.matte_activities == "goto" else solutions.IONIC
    used = [(matte, "smelting.matte_activities")]
    if s.matte_oxygen is None and s.matte_sulfur is None:
        oxygen = solutions.MATOUSEK if s.matte_oxygen_model == "matousek" else solutions.KAISER_ELLIOTT
        used.append((oxygen, "smelting.matte_oxygen"))
    if s.slag_magnetite is None:
        magnetite = solutions.GOTO if s.slag_magnetite_model == "goto" else solutions.KRESS
        used.append((magnetite, "smelting.slag_magnetite"))
    if s.slag_copper is None:
        copper = solutions.NAGAMORI if s.slag_copper_model == "nagamori" else solutions.GOTO
        used.append((copper, "smelting.slag_copper"))
    return used
