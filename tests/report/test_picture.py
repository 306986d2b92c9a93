"""The picture of the plant: nothing is lost in it, nothing lies on another, and names stay text."""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from demos import balanced

from pyrobal.arrays import total
from pyrobal.report.picture import (
    COLOURS,
    HEAT,
    LESS,
    MASS,
    MORE,
    NAMES,
    bands,
    picture,
    pictures,
    quantities,
    widest,
)
from pyrobal.report.picture.bands import KINDS, steps, unsolved
from pyrobal.report.picture.layout import Layout, across, down
from pyrobal.report.result import Result
from pyrobal.thermo.elements import ELEMENTS

from .browser import Page, needs_browser

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))
ON_WAY = "lost on the way"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module", params=CASES, ids=lambda path: path.stem)
def solved(request: pytest.FixtureRequest) -> Result:
    return balanced(request.param.stem)


def laid(result: Result, way: str) -> Layout:
    drawn = bands(result)
    largest = widest(drawn)
    thick = [max(30.0 * b.rate(q) / largest[q] for q in quantities(drawn)) for b in drawn]
    return {"across": across, "down": down}[way](steps(result), drawn, thick)


def test_what_enters_a_step_leaves_it(solved: Result) -> None:
    """Mass and every element, at each step and at the plant boundary."""
    drawn, none = bands(solved), np.zeros(len(ELEMENTS))
    for step in ["", *steps(solved)]:
        came = sum((b.elements for b in drawn if b.target == step), none)
        left = sum((b.elements for b in drawn if b.source == step), none)
        assert came == pytest.approx(left, rel=1e-9, abs=1e-9 * came.max()), step
    assert all((b.elements >= -1e-9 * b.elements.max()).all() for b in drawn)


def test_the_heat_that_enters_a_step_leaves_it(solved: Result) -> None:
    """With heat of reaction, power and losses; at the plant boundary too."""
    drawn = bands(solved, HEAT)
    for step in ["", *steps(solved)]:
        came = sum(b.heat for b in drawn if b.target == step)
        left = sum(b.heat for b in drawn if b.source == step)
        assert came == pytest.approx(left, rel=1e-9), step


def test_heat_is_that_of_the_readings(solved: Result) -> None:
    """What the plant burns, what its streams lose between the steps, and the losses of the furnace."""
    drawn, results = bands(solved, HEAT), solved.results
    if results.smelting is None:
        return
    fuel = sum(b.rate(HEAT) for b in drawn if b.matter.kind == "fuel")
    assert fuel == pytest.approx(solved["plant.fuel_heat"].magnitude, rel=1e-9, abs=1e-9)
    book = results.ledger
    leaving = sum(
        b.heat for b in drawn if not b.target and (b.matter.kind != "heat" or b.matter.name == ON_WAY)
    )
    leaving -= sum(b.heat for b in drawn if not b.source and b.matter.name == ON_WAY)
    boundary = total(e.sensible for e in book.outputs.values()) + book.heat_out["between_steps"]
    assert leaving == pytest.approx(float(boundary[0]), rel=1e-6)
    lost = [b.rate(HEAT) for b in drawn if (b.source, b.matter.name) == ("smelting", "heat lost")]
    assert lost == pytest.approx([solved["smelting.heat.out.loss"].magnitude])


@pytest.fixture(scope="module")
def frozen() -> Result:
    """A plant whose converter has no answer."""
    return balanced("marram_sound", "smelting.matte_grade=79.8 %")


def test_a_step_without_an_answer_is_drawn_with_its_reason(frozen: Result) -> None:
    """What does not depend on it has its rates; the rest is there, and not known."""
    why = unsolved(frozen)
    assert set(why) == set(steps(frozen)) - {"dryer"}
    assert why["smelting"].startswith("matte grade too high")
    assert why["acid_plant"] == "depends on smelting"
    for quantity in (MASS, HEAT):
        for band in bands(frozen, quantity):
            assert band.known == ("dryer" in (band.source, band.target) or band.matter.name == "concentrate")
            assert band.known != math.isnan(band.rate(quantity))
    for way in ("across", "down"):
        root = ElementTree.fromstring(picture(frozen, way=way))
        cards = [r.get("class") for r in root.iter(f"{SVG}rect")]
        assert cards.count("card unsolved") == len(why)
        said = " ".join(t.text or "" for t in root.iter(f"{SVG}text") if t.get("class") == "note")
        assert "no solution: matte grade too high" in said
        assert {"-"} == {g.get("data-rates", "").split()[0] for g in root.iter(f"{SVG}g")
                         if "silent" in g.get("class", "") and g.get("data-rates")}  # fmt: skip


@pytest.fixture(scope="module")
def cold() -> Result:
    """A plant whose converter freezes: the furnace and what comes back to it have an answer."""
    return balanced("marram_sound", "converting.heat_loss=40 MW")


def test_round_a_step_without_an_answer_the_others_are_whole(cold: Result) -> None:
    why = unsolved(cold)
    assert set(steps(cold)) - set(why) == {"dryer", "smelting", "slag_cleaning"}
    drawn = bands(cold)
    for step in ("dryer", "smelting", "slag_cleaning"):
        came = sum(b.elements for b in drawn if b.target == step)
        assert came == pytest.approx(sum(b.elements for b in drawn if b.source == step), rel=1e-9)
    assert any(b.known for b in drawn if (b.source, b.target) == ("gas_train", "smelting"))
    assert not any("nan" in b.figure or b.figure.startswith("-") for b in drawn)
    columns = {card.step: card.x for card in laid(cold, "across").cards}
    assert columns["acid_plant"] == max(columns.values()), "nothing is known of it, so it stands last"


def test_widths_are_in_proportion(solved: Result) -> None:
    """Read off the drawing again: width over rate is the same for every band that is not a hairline."""
    for quantity in (*quantities(bands(solved))[:4], HEAT):
        drawn = bands(solved, quantity)
        root = ElementTree.fromstring(picture(solved, quantity))
        found = {int(g.get("data-band", "")): g for g in root.iter(f"{SVG}g") if g.get("class") == "line"}
        assert set(found) == set(range(len(drawn)))
        widths = np.array([float(found[i].find(f"{SVG}path").get("stroke-width")) for i in found])  # type: ignore[union-attr,arg-type]
        rates = np.array([drawn[i].rate(quantity) for i in found])
        wide = widths > 2.0
        assert wide.any()
        assert widths[wide] / rates[wide] == pytest.approx(widths.max() / rates.max(), rel=0.03)
        assert ((widths > 0) == (rates > 0)).all()


@pytest.mark.parametrize("way", ["across", "down"])
def test_cards_stand_apart_and_hold_their_lines(solved: Result, way: str) -> None:
    layout = laid(solved, way)
    for a, b in combinations(layout.cards, 2):
        assert a.x + a.width < b.x or b.x + b.width < a.x or a.y + a.height < b.y or b.y + b.height < a.y
    for card in layout.cards:
        ys = [row.y for row in card.rows]
        assert all(below - above >= 17.0 for above, below in pairwise(ys))
        assert card.y + 28 < ys[0] and ys[-1] < card.y + card.height - 6
        assert card.x >= 0 and card.x + card.width <= layout.width and card.y + card.height <= layout.height
    assert {line.band for line in layout.lines} == set(range(len(bands(solved))))


@pytest.mark.parametrize("way", ["across", "down"])
def test_no_band_runs_through_a_card(solved: Result, way: str) -> None:
    layout = laid(solved, way)
    for line in layout.lines:
        for (x0, y0), (x1, y1) in pairwise(line.points):
            low, high = sorted((x0, x1)), sorted((y0, y1))
            for c in layout.cards:
                beside = low[1] <= c.x or low[0] >= c.x + c.width
                assert beside or high[1] <= c.y or high[0] >= c.y + c.height, (line, c.step)


def test_every_kind_has_a_name_and_a_colour_and_every_stream_its_own(solved: Result) -> None:
    assert set(KINDS) == set(NAMES) == set(COLOURS)
    expected = {"matte": "metal", "slag": "slag", "gas": "gas", "dust": "dust", "silica flux": "slag"}
    expected |= {"process gas": "gas", "air drawn in": "gas", "fuel": "fuel", "concentrate": "metal"}
    expected |= {
        "acid": "water",
        "weak acid, water": "water",
        "slag concentrate": "metal",
        "blister": "metal",
    }
    for band in bands(solved):
        assert band.matter.kind == expected.get(band.matter.name, band.matter.kind), band.matter


def test_names_stay_text(nasty: Result) -> None:
    for way in ("across", "down"):
        root = ElementTree.fromstring(picture(nasty, way=way))
        tags = {element.tag.removeprefix(SVG) for element in root.iter()}
        assert tags <= {"svg", "style", "defs", "pattern", "path", "g", "title", "text", "tspan", "rect"}


def test_what_is_not_on_offer_is_refused(skerry: Result) -> None:
    with pytest.raises(ValueError, match=r"'gold' is not in this plant; there is mass, Cu"):
        picture(skerry, "gold")
    with pytest.raises(ValueError, match=r"'up' is no way to draw; there is across, down"):
        picture(skerry, way="up")
    assert quantities(bands(skerry))[0] == MASS


@pytest.fixture(scope="module")
def beside(skerry: Result, whole_plant: Result) -> dict[str, list[ElementTree.Element]]:
    """Two plants of different extent, drawn both ways."""
    return {
        way: [ElementTree.fromstring(svg) for svg in pictures([whole_plant, skerry], "Cu", way)]
        for way in ("across", "down")
    }


@pytest.mark.parametrize("way", ["across", "down"])
def test_pictures_beside_each_other_have_one_scale_and_one_offer(
    beside: dict[str, list[ElementTree.Element]], skerry: Result, whole_plant: Result, way: str
) -> None:
    scales = []
    for root, result in zip(beside[way], (whole_plant, skerry), strict=True):
        at = root.get("data-quantities", "").split().index("Cu")
        streams = [g for g in root.iter(f"{SVG}g") if g.get("class", "").startswith("stream")]
        widths = [float(g.get("data-widths", "").split()[at]) for g in streams]
        rates = [band.rate("Cu") for band in bands(result)]
        scales.append(max(widths) / max(rates))
    assert scales[0] == pytest.approx(scales[1], rel=0.01)
    offers = {root.get("data-quantities") for root in beside[way]}
    assert offers == {" ".join(quantities([*bands(whole_plant), *bands(skerry)]))}
    assert len({root.get("viewBox", "").split()[2] for root in beside[way]}) == 1, "enlarged alike"


def test_drawn_down_each_step_stands_at_one_height(beside: dict[str, list[ElementTree.Element]]) -> None:
    tops = []
    for root in beside["down"]:
        cards = [r.get("y") for r in root.iter(f"{SVG}rect")]
        names = [t.text for t in root.iter(f"{SVG}text") if t.get("class") == "title"]
        tops.append(dict(zip(names, cards, strict=True)))
    assert set(tops[1]) == {"Dryer", "Smelting"}
    assert {name: tops[0][name] for name in tops[1]} == tops[1]


def test_marks_say_what_is_more_and_what_is_less(skerry: Result) -> None:
    richer = balanced("skerry_point", "smelting.enrichment=65 %")
    first, second = pictures([skerry, richer])
    assert MORE not in first and LESS not in first
    before = {b.place: b for b in bands(skerry)}
    root = ElementTree.fromstring(second)
    streams = [g for g in root.iter(f"{SVG}g") if g.get("data-rates")]
    rates = {g.get("data-band", ""): g.get("data-rates", "").split(" ")[0] for g in streams}
    for i, band in enumerate(bands(richer)):
        was, now = before[band.place].rate(MASS), band.rate(MASS)
        mark = (MORE if now > was else LESS) if abs(now - was) > 0.01 * max(now, was) else ""
        assert rates[str(i)].strip("0123456789.e-\u202f") == mark
    assert sum(LESS in rate for rate in rates.values()) > 2, "less fuel and less process gas"


@needs_browser
@pytest.mark.parametrize("way", ["across", "down"])
def test_no_label_lies_on_another_or_outside_its_card(
    tab: Page, solved: Result, way: str, tmp_path: Path
) -> None:
    """Boxes as Chromium measures them."""
    file = tmp_path / "picture.html"
    file.write_text(f"<!doctype html><meta charset=utf-8>{picture(solved, way=way)}", encoding="utf-8")
    tab.open(file, width=1440)
    texts = _boxes(tab, "text")
    cards = _boxes(tab, "rect.card")
    for a, b in combinations(texts, 2):
        assert not _overlap(a, b), (a, b)
    for text in texts:
        held = [c for c in cards if _overlap(text, c)]
        assert len(held) == 1 and held[0][0] <= text[0] and text[2] <= held[0][2], text


def _boxes(page: Any, selector: str) -> list[list[float]]:
    found: list[list[float]] = page.run(
        f"[...document.querySelectorAll('{selector}')].map(e => e.getBBox())"
        ".map(b => [b.x, b.y + 2, b.x + b.width, b.y + b.height - 2])"
    )
    return found


def _overlap(a: list[float], b: list[float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
