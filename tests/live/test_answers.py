"""What the page is told is what the commands say of the same case."""

from __future__ import annotations

import gc
import json
import resource
import shlex
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

import pyrobal
from pyrobal.case.unused import without_effect
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.live.handles import handles
from pyrobal.live.server import Server
from pyrobal.live.settings import Settings
from pyrobal.live.source import Source
from pyrobal.report.picture import bands, picture, quantities
from pyrobal.studies import run, together

CASES = Path(__file__).parents[2] / "cases"
SKERRY = CASES / "skerry_point.toml"
RICHER = {"smelting.enrichment": "61 %", "smelting.matte_grade": "66 %"}
SET = [f"{key}={value}" for key, value in RICHER.items()]


class Tab:
    """What a tab asks, without a browser."""

    def __init__(self, file: Path) -> None:
        self.server = Server(Source(str(file)), processes=False)
        self.server.start()
        origin = f"http://127.0.0.1:{self.server.port}"
        self.client = httpx.Client(base_url=self.server.address, headers={"Origin": origin}, timeout=60)

    def case(self) -> dict[str, Any]:
        found: dict[str, Any] = self.client.get("case").json()
        return found

    def ask(self, path: str, /, **content: Any) -> dict[str, Any]:
        found: dict[str, Any] = self.client.post(path, json=content).raise_for_status().json()
        return found

    def close(self) -> None:
        self.client.close()
        self.server.stop()


@pytest.fixture(scope="module")
def tab() -> Iterator[Tab]:
    made = Tab(SKERRY)
    yield made
    made.close()


def test_the_case_is_described(tab: Tab) -> None:
    case = tab.case()
    assert (case["title"], case["faults"], case["complete"]) == (
        "Skerry Point smelter, autumn blend",
        [],
        True,
    )
    handles = [handle["key"] for handle in case["handles"]]
    assert handles[:3] == ["smelting.enrichment", "smelting.matte_grade", "concentrate.*.rate"]
    assert "smelting.close_heat_with" in handles
    keys = {setting["key"] for setting in case["settings"]}
    assert set(handles) <= keys
    assert {"smelting.slag_magnetite", "site.pressure", "concentrate.Tolven.assay.As"} <= keys
    assert case["pinned"][0] == case["curve"] == "smelting.fuel_heat"
    assert set(case["pinned"]) <= {reading["key"] for reading in case["readings"]}
    assert "licensed practice" in case["caution"]


def test_every_choice_that_has_an_effect_is_a_handle() -> None:
    """By the registry of settings; models of correlations are none."""
    found = {}
    for name in ("skerry_point", "marram_sound", "thrift_ness"):
        inputs = pyrobal.load_case(str(CASES / f"{name}.toml")).inputs
        found[name] = {one["key"] for one in handles(inputs, ()) if one["kind"] == "choice"}
        unused = tuple(without_effect(inputs))
        assert not any(key.startswith(unused) for key in found[name])
        assert not any("_model" in key for key in found[name])
    assert found["skerry_point"] == {
        "dryer.fuel", "smelting.fuel", "smelting.close_heat_with", "smelting.in_leakage_enters",
        "revert.ladle skulls.to", "revert.ladle skulls.kind",
    }  # fmt: skip
    only = found["marram_sound"] - found["thrift_ness"]
    assert only >= {"slag_cleaning.reductant", "converting.copper_coolant", "smelting.fuel", "load.schedule"}
    assert "converting.slag_system" in found["thrift_ness"] - found["marram_sound"]


def test_an_answer_is_the_balance_of_the_same_settings(tab: Tab) -> None:
    result = pyrobal.balance(str(SKERRY), set=SET)
    read = [line.key for line in result.told][::20]
    found = tab.ask("answer", number=5, changes=RICHER, read=read, picture={"quantity": "Cu", "way": "down"})
    assert (found["number"], found["ok"], found["status"]) == (5, True, result.status)
    told = {line.key: line for line in result.told}
    assert {key: one["value"] for key, one in found["readings"].items()} == {k: told[k].value for k in read}
    assert found["picture"] == picture(result, "Cu", "down")
    assert [m["text"] for m in found["messages"]] == [m.text for m in result.messages]
    assert found["settings"]["smelting.enrichment"] == {"value": 61.0, "text": "61", "unit": "vol%"}
    assert found["quantities"] == [*quantities(bands(result)), "heat"]
    heat = tab.ask("answer", changes=RICHER, picture={"quantity": "heat", "way": "across"})
    assert heat["quantities"] == found["quantities"]
    assert heat["picture"] == picture(result, "heat")
    none_of_it = tab.ask("answer", changes=RICHER, picture={"quantity": "Hg", "way": "sideways"})
    assert none_of_it["picture"] == picture(result)
    assert "picture" not in tab.ask("answer", changes=RICHER)


def test_two_states_do_not_know_of_each_other(tab: Tab) -> None:
    asked = [{"smelting.enrichment": f"{x} %"} for x in (50, 60, 50, 60)]
    fuel = [
        tab.ask("answer", changes=c, read=["smelting.fuel_heat"])["readings"]["smelting.fuel_heat"]
        for c in asked
    ]
    assert fuel[0] == fuel[2] != fuel[1] == fuel[3]


def test_what_is_wrong_stands_under_its_key(tab: Tab) -> None:
    """In the words of the command line."""
    wrong = {"smelting.enrichment": "60 t/h", "smelting.matte_grade": "120 %", "smelting.nonsense": "1"}
    found = tab.ask("answer", number=9, changes=wrong)
    assert (found["ok"], found["number"]) == (False, 9)
    assert "picture" not in found
    with pytest.raises(CaseError) as caught:
        pyrobal.load_case(SKERRY, [f"{key}={value}" for key, value in wrong.items()])
    assert found["errors"] == {fault.key: fault.text for fault in caught.value.faults}


def test_a_plant_without_an_answer_is_an_answer(tab: Tab) -> None:
    found = tab.ask("answer", changes={"smelting.matte_grade": "79.8 %"}, read=["smelting.matte.rate"])
    assert (found["ok"], found["status"]) == (True, "infeasible")
    assert found["readings"]["smelting.matte.rate"]["value"] is None
    assert "matte grade too high" in found["readings"]["smelting.matte.rate"]["reason"]


def test_targets_are_held_several_at_once(tab: Tab) -> None:
    hold = [
        {"reading": "smelting.fuel_heat", "value": "2 MW", "by": "smelting.enrichment"},
        {"reading": "smelting.slag.copper", "value": "1.2 %", "by": "smelting.matte_grade"},
    ]
    read = ["smelting.fuel_heat", "smelting.slag.copper"]
    found = tab.ask("answer", hold=hold, read=read)
    assert found["readings"]["smelting.fuel_heat"]["value"] == pytest.approx(2.0, rel=1e-9)
    assert found["readings"]["smelting.slag.copper"]["value"] == pytest.approx(1.2, rel=1e-9)
    aimed = pyrobal.balance(str(SKERRY), aim=["smelting.fuel_heat=2 MW", "smelting.slag.copper=1.2 %"],
                            by=["smelting.enrichment", "smelting.matte_grade"])  # fmt: skip
    assert found["settings"]["smelting.enrichment"]["value"] == pytest.approx(
        100 * float(aimed.case.inputs.smelting.enrichment[0]), rel=1e-9
    )


def test_a_target_is_held_while_another_setting_moves(tab: Tab) -> None:
    """From one answer to the next, also where the reading holds over a stretch, and after one that is refused."""
    for reading, value, by in (
        ("smelting.slag.copper", "1.2 %", "smelting.matte_grade"),
        ("smelting.fuel_heat", "0 MW", "smelting.enrichment"),
    ):
        hold = [{"reading": reading, "value": value, "by": by}]
        for ratio in ("1.2", "1.25", "7000", "1.1"):
            found = tab.ask("answer", changes={"smelting.fe_sio2": ratio}, hold=hold, read=[reading])
            if ratio == "7000":
                assert not found["ok"]
                continue
            aimed = pyrobal.balance(
                str(SKERRY), set=f"smelting.fe_sio2={ratio}", aim=f"{reading}={value}", by=by
            )
            assert found["readings"][reading]["value"] == pytest.approx(
                aimed[reading].magnitude, rel=1e-8, abs=1e-6
            )
            held = float(dict(aimed.case.inputs.arrays())[by][0])
            assert found["settings"][by]["value"] == pytest.approx(100 * held, rel=1e-8)


def test_a_target_that_is_held_is_sought_from_where_it_was_met(
    tab: Tab, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the second answer on a few solves, as the settings go on where they were going."""
    solves: list[int] = []
    monkeypatch.setattr(
        together, "solve", lambda inputs, solve=together.solve: solves.append(1) or solve(inputs)
    )
    hold = [
        {"reading": "smelting.slag.copper", "value": "1.35 %", "by": "smelting.fe_sio2"},
        {"reading": "smelting.fuel_heat", "value": "3 MW", "by": "smelting.enrichment"},
    ]
    counts = []
    for grade in ("65 %", "65.2 %", "65.4 %"):
        solves.clear()
        found = tab.ask(
            "answer", changes={"smelting.matte_grade": grade}, hold=hold, read=["smelting.fuel_heat"]
        )
        assert found["readings"]["smelting.fuel_heat"]["value"] == pytest.approx(3.0, rel=1e-9)
        counts.append(len(solves))
    assert counts[0] > counts[1] > counts[2]
    assert counts[2] <= 3


def test_a_target_that_cannot_be_met_says_why(tab: Tab) -> None:
    found = tab.ask(
        "answer", hold=[{"reading": "smelting.slag.copper", "value": "9 %", "by": "smelting.enrichment"}]
    )
    assert not found["ok"]
    assert "is between" in found["unmet"]["smelting.slag.copper"]
    found = tab.ask(
        "answer", hold=[{"reading": "smelting.fuel_hat", "value": "x", "by": "smelting.enrichment"}]
    )
    assert 'did you mean "smelting.fuel_heat"' in found["unmet"]["smelting.fuel_hat"]


def test_a_limit_of_the_page_is_one_of_the_case(tab: Tab) -> None:
    limit = "smelting.fuel_heat <= 5 MW"
    (found,) = tab.ask("answer", limits=[limit])["limits"]
    assert (found["added"], found["bound"], found["broken"]) == (limit, 5.0, True)
    assert tab.ask("answer", limits=["smelting.fuel_heat<=5"])["limits"][0]["bound"] == 5.0
    wrong = tab.ask("answer", limits=["x", "smelting.fuel_heat <= 3 t/h"])["limit_errors"]
    assert list(wrong) == ["x"]
    wrong = tab.ask("answer", limits=["smelting.fuel_heat <= 3 t/h"])["limit_errors"]
    assert "a power is needed" in wrong["smelting.fuel_heat <= 3 t/h"]


def test_a_curve_goes_through_the_balances_it_stands_for(tab: Tab, monkeypatch: pytest.MonkeyPatch) -> None:
    """All of them from one solve, with the place where a limit is met and where the furnace is autogenous."""
    solves = []
    monkeypatch.setattr(run, "solve", lambda inputs, solve=run.solve: solves.append(1) or solve(inputs))
    keys = [h["key"] for h in tab.case()["handles"] if h["kind"] == "number"]
    found = tab.ask(
        "curves", changes=RICHER, keys=keys, read="smelting.fuel_heat", limits=["smelting.fuel_heat <= 5 MW"]
    )
    assert len(solves) == 1
    assert list(found["curves"]) == keys
    for key in ("smelting.enrichment", "concentrate.*.rate", "smelting.slag_temperature"):
        curve = found["curves"][key]
        assert curve["x"] == sorted(curve["x"])
        assert curve["now"] in curve["x"]
        for i in (0, 7, len(curve["x"]) - 1):
            one = pyrobal.balance(str(SKERRY), set=[*SET, f"{key}={curve['x'][i]!r} {curve['x_unit']}"])
            assert curve["y"][i] == pytest.approx(one["smelting.fuel_heat"].magnitude, rel=1e-5, abs=1e-9)
    enrichment = found["curves"]["smelting.enrichment"]
    result = pyrobal.balance(str(SKERRY), set=SET)
    alone = result["smelting.heat.autogenous_enrichment"].magnitude
    assert enrichment["autogenous"] == pytest.approx(alone, rel=1e-4)
    (crossing,) = enrichment["crossings"]
    there = pyrobal.balance(str(SKERRY), set=[*SET, f"smelting.enrichment={crossing['x']} %"])
    assert there["smelting.fuel_heat"].magnitude == pytest.approx(5.0, rel=0.01)
    assert enrichment["feasible"] == [y <= 5.0 for y in enrichment["y"]]
    ends = [c for c in found["curves"]["smelting.matte_grade"]["crossings"] if c["label"] == "no solution"]
    assert "matte grade too high" in ends[0]["reason"]


def test_a_curve_keeps_the_targets_that_are_held(tab: Tab) -> None:
    hold = [{"reading": "smelting.slag.copper", "value": "1.2 %", "by": "smelting.matte_grade"}]
    keys = ["smelting.enrichment", "smelting.matte_grade"]
    found = tab.ask("curves", hold=hold, keys=keys, read="smelting.slag.copper")["curves"]
    assert list(found) == ["smelting.enrichment"]
    assert found["smelting.enrichment"]["y"] == pytest.approx([1.2] * 33, rel=1e-6)


def test_curves_of_what_is_no_number_or_no_reading(tab: Tab) -> None:
    assert not tab.ask("curves", keys=["smelting.nonsense"], read="smelting.fuel_heat")["ok"]
    assert (
        "word"
        in tab.ask("curves", keys=["smelting.fuel"], read="smelting.fuel_heat")["errors"]["smelting.fuel"]
    )
    assert "no reading" in tab.ask("curves", keys=["smelting.enrichment"], read="nonsense")["errors"][""]
    assert tab.ask("curves", keys=["smelting.slag_magnetite"], read="smelting.fuel_heat")["curves"] == {}


def test_the_window_is_that_of_the_command(tab: Tab) -> None:
    limits = ["smelting.fuel_heat <= 5 MW", "smelting.slag.copper <= 1.3 %"]
    found = tab.ask("window", x="smelting.enrichment", y="smelting.matte_grade", limits=limits)
    cells = np.array(found["cells"])
    assert cells.shape == (len(found["y"]), len(found["x"]))
    made = pyrobal.window(
        str(SKERRY), f"smelting.enrichment={found['x'][0]}:{found['x'][-1]} %:{len(found['x'])}",
        f"smelting.matte_grade={found['y'][0]}:{found['y'][-1]} %:{len(found['y'])}", limit=limits,
    ).found  # fmt: skip
    assert (cells == np.where(made.verdict == -2, 2, made.verdict)).all()
    assert found["names"][-1] == "no solution"
    for one in found["lines"]:
        assert all(len(point) == 2 for piece in one["points"] for point in piece)


def test_a_window_without_a_limit_has_lines_of_a_reading(tab: Tab) -> None:
    axes = {"x": "smelting.enrichment", "y": "smelting.matte_grade"}
    found = tab.ask("window", **axes, read="smelting.fuel_heat")
    assert found["names"] == ["no solution"]
    assert {cell for row in found["cells"] for cell in row} == {-1, 0}  # above some grade none
    assert found["levels"]["unit"] == "MW"
    (five,) = (one for one in found["levels"]["lines"] if one["label"] == "5")
    x, y = max(five["points"], key=len)[3]
    one = pyrobal.balance(str(SKERRY), set=[f"{axes['x']}={x} %", f"{axes['y']}={y} %"])
    assert one["smelting.fuel_heat"].magnitude == pytest.approx(5.0, abs=0.02)


def new(name: str, rate: str, moisture: str, **assay: str) -> dict[str, str]:
    """A concentrate that the case has not, as the page lays it over the case."""
    lines = {f"concentrate.{name}.assay.{line}": text for line, text in assay.items()}
    return {f"concentrate.{name}.rate": rate, f"concentrate.{name}.moisture": moisture, **lines}


KELDA = new(
    "Kelda", "8.5 t/h", "9 %",
    Cu="33", Fe="22", S="27.5", SiO2="9", Al2O3="2", As="0.9", Zn="0.6", Au="22 g/t",
)  # fmt: skip


def test_a_concentrate_is_added_and_told_of(tab: Tab) -> None:
    found = tab.ask("answer", changes=KELDA, read=["feed.dry_rate"])
    assert found["readings"]["feed.dry_rate"]["value"] == pytest.approx(118.5)
    more = {one["key"]: one for one in found["more_settings"]}
    assert more.keys() >= KELDA.keys()
    assert (more["concentrate.Kelda.rate"]["low"], more["concentrate.Kelda.rate"]["unit"]) == (4.0, "t/h")
    assert found["settings"]["concentrate.Kelda.assay.Cu"]["value"] == pytest.approx(33)
    key = "concentrate.Kelda.rate"
    (curve,) = tab.ask("curves", changes=KELDA, keys=[key], read="feed.dry_rate")["curves"].values()
    assert curve["y"] == pytest.approx([110 + x for x in curve["x"]])
    wrong = {**KELDA, "concentrate.Kelda.assay.Znn": "1", "concentrate.Kelda.assay.As": "70"}
    errors = tab.ask("answer", changes=wrong)["errors"]
    assert errors["concentrate.Kelda.assay.Znn"] == 'unknown name; did you mean "Zn"?'
    errors = tab.ask("answer", changes={**KELDA, "concentrate.Kelda.assay.As": "70"})["errors"]
    assert "cannot exceed 100 %" in errors["concentrate.Kelda.assay"]
    assert tab.ask("answer")["more_settings"] == []


STATES: list[dict[str, Any]] = [
    {"changes": {**RICHER, "concentrate.*.rate": "+10 %", "smelting.close_heat_with": "fuel"}},
    {"changes": {**KELDA, "concentrate.Tolven.rate": "8.5 t/h"}, "limits": ["feed.assay.As<=0.21 %"]},
    {
        "changes": {"smelting.matte_grade": "66 %"},
        "hold": [
            {"reading": "smelting.slag.copper", "value": "1.35 %", "by": "smelting.fe_sio2"},
            {"reading": "smelting.fuel_heat", "value": "3 MW", "by": "smelting.enrichment"},
        ],
        "limits": ["smelting.oxygen.industrial<=22000", "smelting.gas.so2>=30 %"],
    },
]  # fmt: skip


@pytest.mark.parametrize("state", STATES)
def test_the_command_lines_give_the_same(
    tab: Tab, tmp_path: Path, capsys: pytest.CaptureFixture[str], state: dict[str, Any]
) -> None:
    """Every reading, those of the limits among them; the window is the page's."""
    axes = {"x": "smelting.enrichment", "y": "concentrate.Fenholt.rate"}
    balance, window = (
        shlex.split(line) for line in tab.ask("keep", **state, **axes, what="commands")["lines"]
    )
    assert balance[:3] == ["pyrobal", "balance", str(SKERRY)]
    assert len(balance) == len(set(balance) - {"--set", "--aim", "--by"}) + sum(
        map(balance.count, ("--set", "--aim", "--by"))
    )
    report = tmp_path / "report.html"
    assert main([*balance[1:-1], str(report), "--json", "-"]) == 0
    told = json.loads(capsys.readouterr().out)["readings"]
    assert report.exists()
    kept = tab.client.post("keep", json={**state, "what": "json"}).json()["readings"]
    assert told.keys() == kept.keys()
    for key, one in kept.items():
        if one["value"] is not None:
            assert told[key]["value"] == pytest.approx(one["value"], rel=1e-7, abs=1e-9), key
    if state.get("limits") and not state.get("hold"):
        assert any(key.startswith("limit.") for key in told)
        assert main(window[1:]) == 0
        assert "every limit is kept" in capsys.readouterr().out


@pytest.mark.parametrize("changes", [RICHER, KELDA])
def test_what_is_kept_gives_the_same_case(tab: Tab, tmp_path: Path, changes: dict[str, str]) -> None:
    """The file with its comments."""
    state = {
        "changes": {**changes, "concentrate.*.rate": "+10 %", "smelting.close_heat_with": "fuel", "smelting.heat_loss_per_tonne": "500 MJ/t"},
        "hold": [{"reading": "smelting.slag.copper", "value": "1.2 %", "by": "smelting.fe_sio2"}],
        "limits": ["smelting.fuel_heat <= 5 MW"],
    }  # fmt: skip
    answer = tab.client.post("keep", json={**state, "what": "case"})
    assert 'filename="skerry_point_live.toml"' in answer.headers["content-disposition"]
    kept = tmp_path / "kept.toml"
    kept.write_text(answer.text, encoding="utf-8")
    lines = SKERRY.read_text(encoding="utf-8").splitlines()
    assert {line[line.index("#") :] for line in lines if "#" in line} <= {
        line[line.index("#") :] for line in answer.text.splitlines() if "#" in line
    }
    assert "heat_loss = " not in answer.text  # its other name has given way
    json_of = tab.client.post("keep", json={**state, "what": "json"}).json()
    again = pyrobal.balance(str(kept))
    for key, one in json_of["readings"].items():
        if one["value"] is not None:
            assert again[key].magnitude == pytest.approx(one["value"], rel=1e-9, abs=1e-9), key
    report = tab.client.post("keep", json={**state, "what": "report"})
    assert report.headers["content-type"].startswith("text/html")
    assert "Skerry Point" in report.text
    assert not tab.ask("keep", what="everything")["ok"]


def test_the_file_is_read_again_when_it_changes(tmp_path: Path) -> None:
    """Its faults are told by line while the last good case stays; an open page hears of it."""
    file = tmp_path / "case.toml"
    good = SKERRY.read_text(encoding="utf-8")
    file.write_text(good, encoding="utf-8")
    tab = Tab(file)
    try:
        first = tab.case()
        with tab.client.stream("GET", "changes") as events:
            lines = events.iter_lines()
            assert next(lines).startswith(":")
            file.write_text(good.replace('enrichment = "55 %"', 'enrichment = "55 t/h"'), encoding="utf-8")
            assert next(line for line in lines if line.startswith("event")) == "event: case"
            faulty = tab.case()
            (fault,) = faulty["faults"]
            assert (fault["line"], fault["key"]) == (100, "smelting.enrichment")
            assert faulty["title"] == first["title"]
            assert faulty["digest"] != first["digest"]
            assert tab.ask("answer", read=["smelting.matte.rate"])["ok"]
            file.write_text(good.replace("autumn", "winter"), encoding="utf-8")
            assert next(line for line in lines if line.startswith("event")) == "event: case"
            mended = tab.case()
            assert (mended["faults"], mended["title"]) == ([], "Skerry Point smelter, winter blend")
            file.unlink()
            assert "no such file" in tab.case()["faults"][0]["text"]
            assert tab.case()["title"] == mended["title"]
    finally:
        tab.close()


def test_a_case_that_never_was_good_shows_its_faults(tmp_path: Path) -> None:
    file = tmp_path / "case.toml"
    file.write_text("title = 3 t\n[smelting]\nenrichmnt = 5\n", encoding="utf-8")
    tab = Tab(file)
    try:
        case = tab.case()
        assert {fault["line"] for fault in case["faults"]} >= {1, 3}
        assert case["handles"] == case["settings"] == []
        assert not tab.ask("answer")["ok"]
        file.write_text(SKERRY.read_text(encoding="utf-8"), encoding="utf-8")
        assert tab.case()["faults"] == []
        assert tab.ask("answer")["ok"]
    finally:
        tab.close()


@pytest.mark.parametrize("file", sorted(CASES.glob("*.toml")), ids=lambda file: file.stem)
def test_every_setting_can_be_written_as_it_is_shown(file: Path) -> None:
    """Its text and unit, laid over the case, are the case; a slider spans what it has within what is allowed."""
    opened = Source(str(file)).now()
    assert opened.case is not None
    settings = Settings(opened.case.inputs, opened.case.given)
    described = {one["key"]: one for one in settings.described()}
    unused = without_effect(opened.case.inputs)
    written = {
        key: one["text"] if one["value"] is None else f"{one['text']} {one['unit'].removeprefix('-')}".strip()
        for key, one in described.items()
        if one["text"]
    }
    for key, text in written.items():
        if not key.startswith(("upset.", "limit.", *unused)):
            again = Settings(opened.changed([f"{key}={text}"]).inputs)
            assert again.values([key])[key]["text"] == described[key]["text"], key
    for key, one in described.items():
        if one.get("low") is not None:
            assert one["low"] <= one["value"] <= one["high"], key
            assert one["step"] > 0.0
            assert one["least"] is None or one["least"] <= one["low"] + 1e-9 * abs(one["low"]), key
            assert one["most"] is None or one["high"] <= one["most"] + 1e-9 * abs(one["most"]), key


def test_nothing_is_worked_out_while_nothing_is_asked(tab: Tab) -> None:
    with tab.client.stream("GET", "changes") as events:
        next(events.iter_lines())
        before = time.process_time()
        time.sleep(3.0)
        assert time.process_time() - before < 0.15


@pytest.mark.slow
def test_a_thousand_moves_leave_memory_as_it_was() -> None:
    """A slider drawn over a stretch and back, four times, then over others, then over the first again: of eight
    moves one is to a state that is not kept. No object stays of any of them but of those that are."""
    from pyrobal.live.app import Live
    from pyrobal.live.asked import Asked
    from pyrobal.live.work import _KEPT, Work

    live = Live(Source(str(SKERRY)), Work(processes=False))
    # Python's own cache of attributes holds names, until it is full
    forget = getattr(sys, "_clear_internal_caches", None) or sys._clear_type_cache

    def drawn(stretch: int) -> None:
        there = [f"{40 + 0.1 * (_KEPT * stretch + i)} %" for i in range(_KEPT)]
        for value in 4 * [*there, *reversed(there)]:
            told = live._tell(live._answer, Asked(changes={"smelting.enrichment": value}, quantity="mass"))
            assert isinstance(told, dict)
            assert told["ok"]
            gc.collect(0)

    def memory() -> tuple[int, int]:
        gc.collect()
        forget()
        return sys.getallocatedblocks(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    drawn(0)
    before = memory()
    for stretch in (1, 2, 0):
        drawn(stretch)
    objects, most = (after - then for after, then in zip(memory(), before, strict=True))
    assert objects < _KEPT  # of two stretches that were new; one of each second state would be as many
    assert most < 4096  # kB
