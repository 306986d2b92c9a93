"""The plant as its ledgers tell it: who takes what another made, and nothing lost on the way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from demos import solved

from pyrobal.case.load import load_case
from pyrobal.flowsheet.solve import solve
from pyrobal.report.flows import Flow, element_flows, ledgers
from pyrobal.report.result import Result
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS

CASES = Path(__file__).parents[2] / "cases"


def _into(flows: list[Flow], place: tuple[str, ...]) -> np.ndarray:
    return sum((f.elements for f in flows if f.target == place), np.zeros(len(ELEMENTS)))


def _out(flows: list[Flow], place: tuple[str, ...]) -> np.ndarray:
    return sum((f.elements for f in flows if f.source == place), np.zeros(len(ELEMENTS)))


@pytest.mark.parametrize("name", ["skerry", "whole_plant", "nasty"])
def test_every_step_takes_in_what_it_gives_off(name: str, request: pytest.FixtureRequest) -> None:
    results = request.getfixturevalue(name).results
    flows = element_flows(results)
    steps = [(step,) for step in ledgers(results)]
    assert ("smelting",) in steps
    for step in steps:
        inflow, outflow = _into(flows, step), _out(flows, step)
        assert outflow == pytest.approx(inflow, rel=1e-9, abs=1e-9 * inflow.max()), step


VARIED = {
    "marram_sound": (
        (),
        ("smelting.dust_return=40 %",),
        ("recycle.converting_slag=discard", "recycle.converting_dust=discard"),
        ("furnace_gas.to=stack",),
        ("emissions.smelting_escape=10 %", "emissions.converting_escape=20 %"),
    ),
}


@pytest.mark.parametrize("case", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_what_goes_into_a_place_comes_out_of_it(case: Path) -> None:
    """Every element, every step and every product that is taken on: only ends of the picture have one side."""
    for overrides in VARIED.get(case.stem, ((),)):
        flows = element_flows(solved(case.stem, *overrides))
        for place in {end for f in flows for end in (f.source, f.target)}:
            inflow, outflow = _into(flows, place), _out(flows, place)
            if inflow.any() and outflow.any():
                assert outflow == pytest.approx(inflow, rel=1e-6, abs=1e-6 * inflow.max()), (overrides, place)
            assert inflow.any() or place[0] == "", (overrides, place)


def test_gas_past_the_hoods_is_seen_to_leave(whole_plant: Result) -> None:
    flows = element_flows(whole_plant.results)
    escaped = {names for f in flows if (names := f.target)[-1] == "escaped_gas"}
    assert escaped == {("smelting", "escaped_gas"), ("converting", "escaped_gas")}
    sulfur = sum(f.elements[ELEMENTS.index("S")] for f in flows if f.target in escaped)
    e = whole_plant.results.emissions
    assert e is not None
    past = e.fugitive[0] + e.stacks["secondary"].so2[0] + e.stacks["secondary"].scrubbed[0]
    assert sulfur == pytest.approx(past * ATOMIC_MASS[ELEMENTS.index("S")], rel=1e-6)  # kg/s


def test_returned_dust_is_a_loop(skerry: Result) -> None:
    flows = element_flows(skerry.results)
    dust = ("smelting", "dust")
    assert {(f.source, f.target) for f in flows if dust in (f.source, f.target)} == {
        (("smelting",), dust), (dust, ("smelting",))
    }  # fmt: skip
    returned = _out(flows, dust) / _into(flows, dust).clip(1e-30)
    assert np.nanmax(returned) == pytest.approx(
        float(skerry.results.smelting.settings.dust_return[0]), rel=1e-9
    )


def test_concentrates_reach_the_furnace_by_name(skerry: Result) -> None:
    flows = element_flows(skerry.results)
    copper = ELEMENTS.index("Cu")
    fed = {
        f.source[-1]: f.elements[copper]
        for f in flows
        if f.target == ("smelting",) and f.elements[copper] > 0
    }
    for name, stream in skerry.results.feed.concentrates.items():
        assert fed[name] == pytest.approx(float(stream.element("Cu")[0]) * 0.063546, rel=1e-4)


def test_no_product_is_handed_on_more_than_once(whole_plant: Result) -> None:
    flows = element_flows(whole_plant.results)
    for made in (f for f in flows if len(f.target) == 2):
        assert (_out(flows, made.target) <= made.elements * (1 + 1e-5) + 1e-9).all(), made.target


def test_products_reach_the_steps_the_flowsheet_sends_them_to(whole_plant: Result) -> None:
    told = {(f.source, f.target) for f in element_flows(whole_plant.results)}
    for link in (
        (("smelting", "matte"), ("converting",)),
        (("slag_cleaning", "matte"), ("converting",)),
        (("converting", "blister"), ("anode_furnace",)),
        (("anode_furnace", "anodes"), ("electrorefining",)),
        (("electrorefining", "scrap"), ("anode_furnace",)),
        (("converting", "slag"), ("slag_cleaning",)),
        (("gas_train", "furnace.cooler.dust"), ("smelting",)),
        (("gas_train", "cleaned_gas"), ("acid_plant",)),
        (("", "reverts", "slag_blow"), ("converting",)),
    ):
        assert link in told, link


def test_reverts_of_two_steps_are_two_flows() -> None:
    """Each reaches its own step."""
    text = (CASES / "marram_sound.toml").read_text(encoding="utf-8")
    second = text[text.index("[[revert]]") : text.index("[converting]")]
    for was, now in (("ladle skulls", "skulls"), ('"converting"', '"smelting"'), ('"2 t/h"', '"3 t/h"')):
        second = second.replace(was, now)
    flows = element_flows(solve(load_case(text.replace("[converting]", f"{second}[converting]", 1)).inputs))
    reverts = {f.source[2]: f.target for f in flows if f.source[:2] == ("", "reverts")}
    assert reverts == {"smelting": ("smelting",), "slag_blow": ("converting",)}
