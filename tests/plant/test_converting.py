"""Behaviour of converting: end points, heat, schedules, limits, and scenarios side by side."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from mattes import LIME, PURE_SILICA, SCRAP, SILICA, SITE, SKULLS, matte, solid

from pyrobal.arrays import Floats, each_array
from pyrobal.constants import HOUR, TONNE, celsius
from pyrobal.errors import CaseError, Reason
from pyrobal.plant.converting import CAUTIONS, ConvertingResult, ConvertingSettings, cautions, schedule, solve
from pyrobal.plant.converting.deportment import MINORS, OUTLETS, minor_share, table_shares
from pyrobal.plant.converting.melts import oxidic_copper_beside_matte
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS
from pyrobal.thermo.properties import species

ONE = np.ones(1)
MINUTE = 60.0


def convert(
    feed: Stream | None = None, reverts: tuple[Any, ...] = (), scrap: float = 0.0, **change: Any
) -> ConvertingResult:
    """``reverts`` in the slag blows and ``scrap`` [kg/s] in the copper blow."""
    numbers = {k: np.atleast_1d(v) if isinstance(v, int | float) else v for k, v in change.items()}
    feed = matte() if feed is None else feed
    cold = {"slag_blow": reverts, "copper_blow": (solid(SCRAP, scrap),)}
    return solve(feed, cold, SILICA, LIME, SITE, ConvertingSettings(**numbers))


def share(stream: Stream, element: str) -> float:
    one = Stream(stream.phase, stream.n[:1], stream.T[:1])
    return float(one.element(element)[0] * ATOMIC_MASS[ELEMENTS.index(element)] / one.mass()[0])


def at_end_of(r: ConvertingResult, label: str) -> int:
    return int(np.flatnonzero(r.cycle.course.columns(label))[-1])


def solved(r: ConvertingResult) -> ConvertingResult:
    assert (r.reason == Reason.SOLVED).all(), [Reason(x).name for x in r.reason]
    return r


# End points and targets


@pytest.mark.parametrize("heat", ["cold_charge", "nothing"])
def test_every_blow_ends_at_its_end_point(heat: str) -> None:
    r = solved(
        convert(cut_iron=0.05, white_metal_iron=0.008, close_heat_with=heat, reverts=(solid(SKULLS, 0.3),))
    )
    iron = r.cycle.course.iron[0]
    assert iron[at_end_of(r, "slag blow 1")] == pytest.approx(0.05, rel=1e-9)
    assert iron[at_end_of(r, "slag blow 2")] == pytest.approx(0.05, rel=1e-9)
    assert iron[at_end_of(r, "slag blow 3")] == pytest.approx(0.008, rel=1e-9)
    assert r.cycle.course.matte[0, -1] == 0.0


def test_blister_and_slag_meet_their_assays() -> None:
    r = solved(
        convert(
            blister_sulfur=0.0005, blister_oxygen=0.004, slag_magnetite=0.18, slag_copper=0.05, fe_sio2=1.9
        )
    )
    assert share(r.blister, "S") == pytest.approx(0.0005, rel=1e-6)
    assert share(r.blister, "O") == pytest.approx(0.004, rel=1e-6)
    assert share(r.slag, "Cu") == pytest.approx(0.05, rel=1e-9)
    assert share(r.slag, "Fe") / share(r.slag, "Si") == pytest.approx(1.9 * 60.083 / 28.085, rel=1e-6)
    i = r.slag.phase.index("Fe3O4(slag)")
    assert r.slag.species_mass()[0, i] / r.slag.mass()[0] == pytest.approx(0.18, rel=1e-9)


def test_all_the_matte_is_used_ladles_and_cold() -> None:
    r = solved(convert())
    assert r.cycle.per_second * r.cycle.matte == pytest.approx(r.matte.mass(), rel=1e-12)
    ladles = 25 * TONNE * (4 + 2 + 2)
    assert r.cycle.matte - r.cold_matte / r.cycle.per_second == pytest.approx(ladles, rel=1e-12)
    assert r.cycle.vessels == pytest.approx(r.cycle.per_second * r.cycle.time, rel=1e-12)
    assert r.cycle.blowing >= r.cycle.per_second * (
        r.cycle.course.time_in("slag blow") + r.cycle.course.time_in("copper blow")
    )


def test_a_broken_number_of_slag_blows_charges_a_part_of_the_last() -> None:
    cuts = schedule.cuts(ConvertingSettings(slag_blows=2.5 * ONE))
    assert [float(c.real[0]) for c in cuts] == [1.0, 1.0, 0.5]
    assert sum(float(c.share[0]) for c in cuts) == pytest.approx(1.0)
    assert [bool(c.last[0]) for c in cuts] == [False, False, True]
    assert float(schedule.matte_in_cycle(ConvertingSettings(slag_blows=2.5 * ONE))[0]) == 25 * TONNE * (
        4 + 2 * 1.5
    )


def test_slag_of_richer_matte_holds_more_copper() -> None:
    iron = np.array([0.15, 0.06, 0.03, 0.01])
    copper = oxidic_copper_beside_matte(iron, 2 * ONE, 0.2 * ONE, celsius(1230) * ONE)
    assert (np.diff(copper) > 0).all()
    assert copper[-1] > 3 * copper[0]


def test_silica_of_reverts_spares_flux_and_flux_is_never_negative() -> None:
    sand = solid({"SiO2": 0.9, "Fe3O4": 0.1}, 5.0)
    plain, some = (solved(convert(reverts=x)) for x in ((), (solid({"SiO2": 1.0}, 0.1),)))
    assert some.silica_flux < plain.silica_flux
    much = convert(reverts=(sand,), close_heat_with="nothing", coldest_bath=1.0)
    assert much.silica_flux[0] == pytest.approx(0.0, abs=0.1 * float(plain.silica_flux[0]))  # the last iron
    assert much.silica_flux[0] >= 0.0


# Heat


def test_cold_charge_holds_the_temperature_and_without_it_the_capacity_is_the_same() -> None:
    held, free = solved(convert()), solved(convert(close_heat_with="nothing"))
    course = held.cycle.course
    blowing = course.columns("slag blow") | course.columns("copper blow")
    assert course.T[0, blowing].max() < celsius(1230) + 10
    assert course.T[0, at_end_of(held, "copper blow")] == pytest.approx(celsius(1230), abs=5)
    assert free.cycle.course.T.max() > celsius(1280)
    assert (free.cold_matte == 0).all() and (free.cold_copper == 0).all()
    assert free.capacity_matte == pytest.approx(held.cold_matte)
    assert free.capacity_copper == pytest.approx(held.cold_copper)


def test_enrichment_shortens_the_blow_and_calls_for_more_cold_charge() -> None:
    r = solved(convert(slag_blow_enrichment=np.array([0.21, 0.24, 0.27])))
    hot = r.cycle.course.time_in("slag blow") / r.cycle.matte
    assert (np.diff(hot) < 0).all()
    assert (np.diff(r.cold_matte) > 0).all()
    assert (np.diff(r.industrial) > 0).all()


def test_heat_loss_and_reverts_take_the_place_of_cold_charge() -> None:
    plain = solved(convert())
    assert solved(convert(heat_loss=3e6)).cold_matte < plain.cold_matte
    assert solved(convert(reverts=(solid(SKULLS, 0.5),))).cold_matte < plain.cold_matte


def test_bought_scrap_comes_out_as_blister_and_own_copper_does_not() -> None:
    own, scrap = (
        solved(convert(copper_coolant=x, copper_blow_enrichment=0.25)) for x in ("own_copper", "copper_scrap")
    )
    assert own.cold_copper > 0
    assert own.cold_copper == pytest.approx(
        scrap.cold_copper, rel=0.05
    )  # scrap burns a little as it takes up oxygen
    assert scrap.blister.mass() - own.blister.mass() == pytest.approx(scrap.cold_copper, rel=0.02)
    assert "copper_scrap" in scrap.ledger.inputs and "own_copper" in own.ledger.heat_out


def test_more_steps_change_little(monkeypatch: pytest.MonkeyPatch) -> None:
    coarse = {heat: solved(convert(close_heat_with=heat)) for heat in ("nothing", "cold_charge")}
    monkeypatch.setattr(schedule, "STEPS", (96, 96))
    fine = {heat: solved(convert(close_heat_with=heat)) for heat in ("nothing", "cold_charge")}
    assert fine["nothing"].cycle.course.T.max() == pytest.approx(
        coarse["nothing"].cycle.course.T.max(), abs=1.0
    )
    assert fine["cold_charge"].cold_matte == pytest.approx(coarse["cold_charge"].cold_matte, rel=0.03)


# Copper scrap


def test_scrap_in_the_copper_blow_is_blister_and_in_the_slag_blow_takes_up_sulfur() -> None:
    much = 0.07 * 7.0  # of the blister, kg/s
    plain, scrap = solved(convert(matte(0.66))), solved(convert(matte(0.66), scrap=much))
    assert scrap.blister.mass() - plain.blister.mass() == pytest.approx(much, rel=0.02)
    early = convert(matte(0.66), reverts=(solid(SCRAP, 3 * much),), coldest_bath=1.0)
    assert Reason(int(early.reason[0])) is Reason.BLOW_RUNS_BACKWARDS
    late = solved(convert(matte(0.66), scrap=3 * much))
    assert late.cycle.course.time_in("slag blow") == pytest.approx(plain.cycle.course.time_in("slag blow"))


def test_capacity_is_what_the_copper_blow_accepts() -> None:
    """Scrap takes its own weight off it, beyond it the bath ends colder, and the enrichment named carries it."""
    free = solved(convert(matte(0.66), copper_blow_enrichment=0.23))
    capacity = float(free.capacity_copper[0])
    just = solved(convert(matte(0.66), copper_blow_enrichment=0.23, scrap=capacity))
    assert just.capacity_copper == pytest.approx(0.0, abs=0.1 * capacity)
    assert pytest.approx(celsius(1230), abs=3) == just.blister.T
    over = solved(convert(matte(0.66), copper_blow_enrichment=0.23, scrap=2 * capacity))
    assert over.capacity_copper == pytest.approx(-capacity, rel=0.15)
    assert over.blister.T[0] < celsius(1225)
    carried = solved(
        convert(matte(0.66), copper_blow_enrichment=float(over.copper_blow_enrichment[0]), scrap=2 * capacity)
    )
    assert carried.capacity_copper == pytest.approx(0.0, abs=0.1 * capacity)
    assert pytest.approx(celsius(1230), abs=3) == carried.blister.T


def test_heat_of_the_copper_blow_by_hand() -> None:
    """Cu2S + O2 = 2 Cu + SO2 at 1230 degC, air at 60 degC, against copper charged at 25 degC.

    Heats of Cu2S(l), Cu(l), SO2, O2 and N2 of the engine's own tables; time, losses and slag left out.
    """
    T, blast = np.array([celsius(1230)]), np.array([celsius(60)])

    def h(name: str, at: Floats) -> float:
        return float(species(name).enthalpy(at)[0, 0])

    y, used = 0.23, 0.92
    nitrogen = (1 - y) / y / used
    spare = h("Cu2S(l)", T) - 2 * h("Cu(l)", T) - h("SO2(g)", T) + h("O2(g)", blast) / used
    spare -= (1 / used - 1) * h("O2(g)", T) + nitrogen * (h("N2(g)", T) - h("N2(g)", blast))
    copper = spare / (h("Cu(l)", T) - h("Cu", np.array([298.15])))  # mol charged per mol Cu2S
    quiet = {"heat_loss": 0.0, "skimming_time": 0.0, "slag_entrained_copper": 0.0, "blister_oxygen": 0.0}
    r = solved(convert(matte(0.66, minors=0.0), copper_blow_enrichment=y, **quiet))
    assert float((r.capacity_copper / r.blister.mass())[0]) == pytest.approx(copper / 2, rel=0.15)


# Schedule


def test_stated_charging_times_are_kept() -> None:
    r = solved(convert(charging_interval=60 * MINUTE))
    course = r.cycle.course
    begins = [
        course.end[0, np.flatnonzero(course.columns(f"charging {k}"))[0]] - 10 * MINUTE for k in (1, 2, 3)
    ]
    assert begins == pytest.approx([0.0, 60 * MINUTE, 120 * MINUTE])
    assert course.iron[0, at_end_of(r, "slag blow 3")] == pytest.approx(0.01)


def test_pauses_count_in_the_cycle_but_not_in_the_blows() -> None:
    short, long = (solved(convert(skimming_time=x * MINUTE, close_heat_with="nothing")) for x in (10, 20))
    assert long.cycle.time - short.cycle.time == pytest.approx(3 * 10 * MINUTE)
    assert long.cycle.course.time_in("slag blow") == pytest.approx(short.cycle.course.time_in("slag blow"))


def test_a_stated_cycle_sets_the_vessels() -> None:
    free = solved(convert())
    r = solved(convert(cycle_time=14 * HOUR))
    assert r.cycle.time == pytest.approx(14 * HOUR)
    assert r.cycle.vessels == pytest.approx(free.cycle.vessels * 14 * HOUR / free.cycle.time)


def test_peak_is_the_strongest_moment_of_all_blowing_vessels() -> None:
    r = solved(convert(matte(rate=30.0)))
    assert r.cycle.blowing >= 2
    so2 = r.peak_gas.amount("SO2(g)")
    assert so2 == pytest.approx(r.cycle.course.so2.max(axis=1) * r.cycle.blowing)
    assert so2 > r.gas.amount("SO2(g)")
    assert r.cycle.hood_so2.max() == pytest.approx(float(so2[0] / r.peak_gas.total()[0]), rel=1e-6)
    mean = (r.cycle.course.so2 * r.cycle.course.duration).sum(axis=1) * r.cycle.per_second
    assert mean == pytest.approx(r.mouth_gas.amount("SO2(g)"), rel=1e-9)


# Continuous


def test_continuous_closures() -> None:
    cold = solved(convert(kind="continuous"))
    assert cold.surplus == pytest.approx(0.0, abs=1.0)
    assert 0 < cold.cold_matte < cold.matte.mass()
    free = solved(convert(kind="continuous", close_heat_with="nothing"))
    assert free.surplus > 0
    assert free.capacity_matte == pytest.approx(cold.cold_matte, rel=1e-6)
    rich = solved(convert(kind="continuous", close_heat_with="enrichment", matte_state="solid"))
    assert rich.surplus == pytest.approx(0.0, abs=1.0)
    y = rich.blast.amount("O2(g)") / (rich.air + rich.industrial)
    again = solved(convert(kind="continuous", close_heat_with="nothing", matte_state="solid", enrichment=y))
    assert again.surplus == pytest.approx(0.0, abs=10.0)


def test_enrichment_stays_in_reach_and_the_rest_shows() -> None:
    r = solved(convert(kind="continuous", close_heat_with="enrichment"))  # too hot even on air
    assert r.industrial == pytest.approx(0.0, abs=1e-9)
    assert r.surplus > 0


def test_more_sulfur_in_blister_means_less_copper_in_slag() -> None:
    r = solved(convert(kind="continuous", blister_sulfur=np.array([0.0002, 0.001, 0.005, 0.012])))
    copper = r.slag.element("Cu") / r.slag.mass()
    assert (np.diff(copper) < 0).all()
    assert (np.diff(r.log10_po2) < 0).all()


def test_silicate_slag_dissolves_about_twice_as_much_copper_as_ferrite() -> None:
    ferrite, silicate = (
        solved(
            convert(
                kind="continuous", slag_system=x, slag_entrained_copper=0.0, bath_temperature=celsius(1300)
            )
        )
        for x in ("calcium_ferrite", "silicate")
    )
    assert share(silicate.slag, "Cu") / share(ferrite.slag, "Cu") == pytest.approx(2.0, rel=0.05)
    assert ferrite.silica_flux == 0 and silicate.lime_flux == 0
    assert share(ferrite.slag, "Ca") * 1.3992 / share(ferrite.slag, "Fe") == pytest.approx(0.38, rel=0.01)


# Limits: each a clear answer


@pytest.mark.parametrize(
    ("why", "change", "grade"),
    [
        (Reason.BLAST_OUT_OF_REACH, {"slag_blow_enrichment": 0.97}, 0.62),
        (Reason.BLAST_OUT_OF_REACH, {"copper_blow_enrichment": 0.18}, 0.62),
        (Reason.BLAST_OUT_OF_REACH, {"kind": "continuous", "enrichment": 0.97}, 0.62),
        (Reason.STAGES_OVERLAP, {"charging_interval": 20 * MINUTE}, 0.62),
        (Reason.STAGES_OVERLAP, {"charging_interval": 300 * MINUTE, "close_heat_with": "nothing"}, 0.62),
        (Reason.CONVERTER_SLAG_IMPOSSIBLE, {"slag_magnetite": 0.8}, 0.62),
        (Reason.CONVERTER_SLAG_IMPOSSIBLE, {"kind": "continuous", "slag_magnetite": 0.89}, 0.62),
        (Reason.BATH_FREEZES, {"heat_loss": 20e6}, 0.62),
        (Reason.BATH_OVERHEATS, {"close_heat_with": "nothing", "slag_blow_enrichment": 0.6}, 0.50),
        (Reason.BLOWS_LONGER_THAN_CYCLE, {"cycle_time": 5 * HOUR}, 0.62),
        (Reason.BLOWS_LONGER_THAN_CYCLE, {"vessels": 1.0}, 0.62),
        (Reason.OWN_COPPER_SHORT, {"copper_blow_enrichment": 0.9}, 0.62),
        (Reason.NOT_CONVERGED, {"kind": "continuous", "blister_sulfur": 0.0, "bath_temperature": np.nan}, 0.62),
    ],
)  # fmt: skip
def test_a_limit_is_named(why: Reason, change: dict[str, Any], grade: float) -> None:
    r = convert(matte(grade), **change)
    assert Reason(int(r.reason[0])) is why


def test_a_grade_that_leaves_no_iron_for_the_slag_blow() -> None:
    r = convert(matte(np.array([0.76, 0.79]), magnetite=0.002, minors=0.0))
    assert [Reason(x) for x in r.reason] == [Reason.SOLVED, Reason.NO_IRON_FOR_SLAG_BLOW]


def test_coolant_that_freezes_the_bath() -> None:
    r = convert(reverts=(solid(SKULLS, 6.0),))
    assert Reason(int(r.reason[0])) is Reason.BATH_FREEZES


def test_oxidic_reverts_that_need_no_blast() -> None:
    r = convert(matte(0.74), reverts=(solid({"Cu2O": 0.5, "CuO": 0.5}, 25.0),), coldest_bath=1.0)
    assert Reason(int(r.reason[0])) is Reason.BLOW_RUNS_BACKWARDS


def test_input_that_is_no_number() -> None:
    assert Reason(int(convert(matte(np.nan)).reason[0])) is Reason.INPUT_NOT_FINITE


@pytest.mark.parametrize("change", [{"close_heat_with": "enrichment"}, {"matte_state": "solid"}])
def test_a_batch_vessel_has_no_such_way(change: dict[str, str]) -> None:
    with pytest.raises(CaseError, match=rf"converting\.{next(iter(change))}"):
        convert(**change)


# Cautions


def test_a_usual_plant_gives_no_caution_and_each_caution_can_be_met() -> None:
    assert not any(holds.any() for holds in cautions(convert()).values())
    odd = [
        convert(
            slag_magnetite=0.3, fe_sio2=3.0, close_heat_with="nothing", blister_oxygen=0.015, hood_air=0.2
        ),
        convert(matte(0.45), slag_blow_enrichment=0.25),
        convert(slag_copper=0.2),
        convert(kind="continuous", close_heat_with="nothing"),
    ]
    assert set().union(*({k for k, holds in cautions(r).items() if holds.all()} for r in odd)) == set(
        CAUTIONS
    )


# Minor elements


def test_the_table_is_complete_and_adds_up() -> None:
    table = table_shares()
    assert set(table) == set(MINORS)
    for rows in table.values():
        assert [grade for grade, _, _ in rows] == pytest.approx([0.54, 0.70])
        for _, outlets, source in rows:
            assert source
            assert set(outlets) == set(OUTLETS)
            assert sum(outlets.values()) == pytest.approx(1.0)


def test_shares_lie_between_the_grades_of_the_table_and_are_held_beyond() -> None:
    s = ConvertingSettings()
    at = minor_share("As", np.array([0.40, 0.54, 0.62, 0.70, 0.78]), s)["blister"]
    assert at[[0, 4]] == pytest.approx(at[[1, 3]])
    assert at[2] == pytest.approx((at[1] + at[3]) / 2)


def test_an_override_is_whole() -> None:
    r = solved(convert(deportment={"As": {"slag": 3 * ONE, "offgas": ONE}}))
    fed = r.matte.element("As")
    assert r.blister.element("As") == pytest.approx(0.0, abs=1e-9 * float(fed[0]))
    assert r.slag.element("As") == pytest.approx(0.75 * fed)
    assert r.gas.element("As") == pytest.approx(0.25 * fed)


# Scenarios side by side


@pytest.mark.parametrize("kind", ["batch", "continuous"])
def test_many_scenarios_are_as_each_alone(kind: str) -> None:
    grades, blows = np.array([0.50, 0.62, 0.70]), np.array([2.0, 3.0, 1.5])
    together = solved(convert(matte(grades), kind=kind, slag_blows=blows))
    for k in range(3):
        alone = solved(convert(matte(grades[k]), kind=kind, slag_blows=float(blows[k])))
        for name in ("blister", "slag", "gas", "dust", "peak_gas"):
            a, b = getattr(alone, name), getattr(together, name)
            assert np.allclose(b.n[k], a.n[0], rtol=1e-10, atol=1e-12 * a.n.max()), name
            assert b.T[k if len(b.T) > 1 else 0] == pytest.approx(a.T[0], rel=1e-11)
        assert alone.cold_matte[0] == pytest.approx(together.cold_matte[k], rel=1e-8)


@pytest.mark.parametrize("kind", ["batch", "continuous"])
def test_one_bad_scenario_leaves_the_others_bit_for_bit(kind: str) -> None:
    good = np.array([0.55, 0.62, 0.68])
    bad = np.array([0.55, np.nan, 0.68])
    clean, spoilt = (convert(matte(x), kind=kind) for x in (good, bad))
    assert [Reason(x) for x in spoilt.reason] == [Reason.SOLVED, Reason.INPUT_NOT_FINITE, Reason.SOLVED]
    found: list[np.ndarray] = []
    for r in (clean, spoilt):
        arrays: list[np.ndarray] = []
        parts = (
            r.blister.n,
            r.blister.T,
            r.slag.n,
            r.gas.n,
            r.gas.T,
            r.dust.n,
            r.cold_matte,
            r.air,
            r.silica_flux,
        )
        each_array(parts, lambda x, arrays=arrays: arrays.append(x) or x)
        found.append(np.concatenate([x[[0, 2]].ravel() if len(x) == 3 else x.ravel() for x in arrays]))
    assert np.array_equal(*found)


def test_shared_settings_broadcast_over_one_matte() -> None:
    r = solved(convert(heat_loss=np.array([1e6, 2e6]), blister_oxygen=np.array([0.003, 0.005])))
    assert len(r.blister.n) == 2 and np.diff(r.cold_matte) < 0


def test_pure_silica_and_scrap_reverts_run() -> None:
    s = dataclasses.replace(ConvertingSettings(), copper_blow_enrichment=0.24 * ONE)
    r = solved(solve(matte(), {"copper_blow": [solid(SCRAP, 0.3)]}, PURE_SILICA, None, SITE, s))
    assert r.blister.mass() > solved(convert()).blister.mass()
