"""Explanations are read off the graph of a traced solve: their equations hold, and every reading has one."""

from __future__ import annotations

import ast
import math
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pint
import pytest

from pyrobal import units
from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.report.explain.expression import Applied, Expression, Number, Operand, Sum, work_out
from pyrobal.report.explain.influence import influences
from pyrobal.report.explain.page import explain_html
from pyrobal.report.explain.show import lines
from pyrobal.report.explain.show import value as shown
from pyrobal.report.explain.step import LEAVES, Step
from pyrobal.report.explain.story import Story
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Result
from pyrobal.studies.sensitivity import sensitivity
from pyrobal.trace.graph import current

ROOT = Path(__file__).parents[2]
CASES = ("skerry_point", "brae_fell", "gannet_rock", "thrift_ness", "marram_sound")
EVERY = 9  # readings of the larger cases, of which one is told; each case begins at another one
STEPS = 60  # of each reading that are looked at
ROUNDED = 5e-6  # half a unit of the sixth digit, relative at most
PLUMBING = re.compile(
    r"\bnp\.|\bself\b|getattr|broadcast|asarray|lambda|<object|\baxis\b|\bzeros\b|functools"
)


@cache
def _story(case: str) -> Story:
    return Story(load_case(ROOT / "cases" / f"{case}.toml"))


@pytest.fixture(scope="module")
def story() -> Story:
    return _story("skerry_point")


@cache
def _told(case: str) -> dict[str, Step]:
    story = _story(case)
    keys = list(story.result)
    offset = CASES.index(case)
    return {key: story.explain(key) for key in (keys if offset == 0 else keys[offset::EVERY])}


@cache
def _steps(case: str) -> dict[int, Step]:
    """Of every reading told the nearest steps, each once."""
    return {id(step): step for root in _told(case).values() for step in root.walk(STEPS)}


def _finite(step: Step) -> bool:
    return all(math.isfinite(s.value) for s in (step, *(part.step for part in step.parts)))


@pytest.mark.parametrize("case", CASES)
def test_every_reading_ends_at_settings_tables_and_constants(case: str) -> None:
    """No value is left without the equation it came from, but for what is stated."""
    for key, root in _told(case).items():
        assert root.equation, key
        assert list(lines(root)), key
    loose = [s for s in _steps(case).values() if s.kind not in LEAVES and not s.equation]
    assert not loose
    for step in _steps(case).values():
        assert step.kind not in ("table", "setting") or step.name


@pytest.mark.parametrize("case", CASES)
def test_the_value_of_each_step_is_that_of_its_equation(case: str) -> None:
    checked = 0
    for step in _steps(case).values():
        expression = step.told.expression
        if expression is None or not _finite(step):
            continue
        terms = [abs(part.share) for part in step.parts if math.isfinite(part.share)]
        slack = 1e-12 * max([1.0, *terms])  # of a difference of large numbers less is sure
        assert float(np.real(work_out(expression))) == pytest.approx(step.value, rel=slack, abs=1e-16), (
            step.equation
        )
        checked += 1
    assert checked > 200, checked


def test_an_equation_that_is_wrong_is_seen(story: Story) -> None:
    """The check above can fail."""
    step = story.explain("smelting.oxygen.demand")
    part = step.parts[0].step
    doubled = work_out(step.told.expression, {id(part): 2.0 * part.value})  # type: ignore[arg-type]
    assert float(np.real(doubled)) == pytest.approx(2.0 * step.value)


@pytest.mark.parametrize("case", CASES)
def test_what_is_printed_is_the_value(case: str) -> None:
    """In plant units and in SI."""
    for step in _steps(case).values():
        if not math.isfinite(step.value) or step.kind == "setting":
            continue
        if step.shown.partition(" ")[0] == "0":  # round-off, which the report shows as nothing
            assert step.kind == "reading" or step.value == 0.0
            continue
        for text in shown(step).split(" = "):
            number, _, unit = text.partition(" ")
            si = float(units.to_si(float(number), unit or "-")) if text == step.shown else float(number)
            digits = 1.1e-5 if abs(float(number)) > 1e-4 else 1e-3  # of a small number fewer are written
            assert si == pytest.approx(step.value, rel=digits, abs=1e-9), (shown(step), step.value)


@pytest.mark.parametrize("case", CASES)
def test_the_root_is_the_reading(case: str) -> None:
    """In plant units as reported, and in SI as the unit registry has it."""
    story = _story(case)
    for line in story.result.lines[::90]:
        root = story.explain(line.key)
        assert root.shown.startswith(quantity(line.told.shown, line.told.unit, 6))
        assert (root.kind, root.name) == ("reading", line.key)
        if math.isfinite(line.value):
            assert root.value == pytest.approx(float(units.to_si(line.value, line.unit)), rel=1e-12)


REGISTRY: Any = pint.UnitRegistry(on_redefinition="ignore")


def _measured(value: float, unit: str) -> Any:
    """A number with a unit as documentation writes it."""
    text = re.sub(r"\(([^)]*)\)", lambda m: "(" + m[1].replace(" ", "*") + ")", unit).replace(" ", "*")
    return REGISTRY.Quantity(value, re.sub(r"(?<=[A-Za-z])(\d)", r"**\1", text) if text else "")


def _with_units(expression: Expression) -> Any:
    """Worked out by a library of units; raises where they do not fit."""
    match expression:
        case Number(value=value):
            return REGISTRY.Quantity(value, "")
        case Operand(step=step):
            return _measured(step.value, step.unit)
        case Sum(terms=terms):
            worked = [sign * _with_units(term) for sign, term in terms]
            unit = next((x.units for x in worked if x.magnitude != 0.0), worked[0].units)
            return sum((x.to(unit) for x in worked if x.magnitude != 0.0), REGISTRY.Quantity(0.0, unit))
        case Applied(function=function, arguments=parts):
            worked = [_with_units(part) for part in parts]
            if function is np.multiply or function is np.divide:
                return worked[0] * worked[1] if function is np.multiply else worked[0] / worked[1]
            if function in (np.maximum, np.minimum, np.fmax, np.fmin):
                there = [x for x in worked if x.magnitude != 0.0] or worked
                return max(x.to(there[0].units) for x in there)
            if function in (np.sqrt, np.square, np.power, np.absolute, np.reciprocal):
                powers: dict[Any, float] = {
                    np.sqrt: 0.5,
                    np.square: 2.0,
                    np.absolute: 1.0,
                    np.reciprocal: -1.0,
                }
                power = powers.get(function)
                if power is None:
                    power = worked[1].to("").magnitude
                return abs(worked[0]) ** power
            for x in worked:
                x.to("")
            return REGISTRY.Quantity(1.0, "")


def _held(step: Step) -> bool:
    try:
        found = _with_units(step.told.expression)  # type: ignore[arg-type]
    except pint.DimensionalityError:
        return False
    return step.value == 0.0 or bool(found.check(_measured(1.0, step.unit).units))


@pytest.mark.parametrize("case", CASES)
def test_units_agree_with_the_equations(case: str) -> None:
    """Worked out by a library of units: products and quotients give the unit stated, sums are of one unit."""
    checked = [s for s in _steps(case).values() if s.told.expression is not None and _finite(s)]
    assert not [f"{s.equation} [{s.unit}]" for s in checked if not _held(s)]
    assert len(checked) > 200


def test_units_that_are_wrong_are_seen() -> None:
    """The check above can fail."""
    flow, mass = Step("number", 2.0, "mol/s"), Step("number", 0.06, "kg/mol")
    n, m = Operand(flow, "n"), Operand(mass, "M")
    for unit, expression, held in (
        ("kg/s", Applied(np.multiply, (n, m)), True),
        ("mol/s", Applied(np.multiply, (n, m)), False),
        ("mol/s", Sum(((1.0, n), (1.0, m))), False),
        ("", Applied(np.exp, (n,)), False),
    ):
        step = Step("equation", 0.12, unit)
        step.told = type(step.told)(expression)
        assert _held(step) is held


@pytest.mark.parametrize("case", CASES)
def test_shares_of_a_sum_are_those_of_its_terms(case: str) -> None:
    checked = 0
    for step in _steps(case).values():
        expression = step.told.expression
        if isinstance(expression, Sum) and all(isinstance(term, Operand) for _, term in expression.terms):
            by_step = {id(part.step): part.share for part in step.parts}
            if step.value and len(by_step) == len(expression.terms) and _finite(step):
                assert sum(by_step.values()) == pytest.approx(
                    1.0, rel=1e-9 * max(map(abs, by_step.values()), default=1.0)
                )
                checked += 1
    assert checked > 20, checked


@pytest.mark.parametrize("case", CASES)
def test_equations_are_words_and_signs(case: str) -> None:
    """What is on the page is no program."""
    for key, root in _told(case).items():
        assert not (found := PLUMBING.search("\n".join(lines(root)))), (key, found)


@pytest.mark.parametrize("case", CASES)
def test_the_text_is_short_and_narrow(case: str) -> None:
    for key, root in _told(case).items():
        text = list(lines(root, width=80))
        assert len(text[: text.index("")] if "" in text else text) <= 60, key
        assert max(map(len, text)) <= 80, key


def test_places_are_functions_of_the_package() -> None:
    """Each names a file, and a function in it, and no line that moves with every edit."""
    defined: dict[str, set[str]] = {}
    for step in (step for case in CASES for step in _steps(case).values()):
        if step.spot is not None:
            file, _, name = step.spot.place.partition(": ")
            if file not in defined:
                tree = ast.parse((ROOT / "pyrobal" / file).read_text(encoding="utf-8"))
                defined[file] = {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}
            assert not name or name in defined[file], step.spot.place
    assert len(defined) > 20


def test_readings_on_the_way_are_named_and_not_told_again(story: Story) -> None:
    root = story.explain("smelting.oxygen.per_tonne")
    parts = {part.name: part.step for part in root.parts}
    assert "smelting.oxygen.demand" in parts
    text = "\n".join(lines(root, case="x.toml"))
    assert "pyrobal explain x.toml smelting.oxygen.demand" in text
    assert "smelting/melt.py" not in text
    assert "smelting/melt.py" in "\n".join(lines(root, 3))
    demand, result = parts["smelting.oxygen.demand"], story.result
    key = "smelting.oxygen.demand"
    assert demand.value == pytest.approx(
        float(units.to_si(result[key].magnitude, result.unit(key))), rel=1e-12
    )


def test_a_setting_changed_changes_what_is_told(story: Story) -> None:
    other = Story(load_case(ROOT / "cases" / "skerry_point.toml", ["smelting.oxygen_efficiency=97 %"]))
    first, second = (s.explain("smelting.oxygen.demand") for s in (story, other))
    efficiency = [next(p.step for p in root.parts if p.step.kind == "setting") for root in (first, second)]
    assert [step.shown for step in efficiency] == ["99 %", "97 %"]
    assert first.value != second.value
    assert "skerry_point.toml:" in efficiency[0].sources[0]
    assert efficiency[1].sources == ('--set "smelting.oxygen_efficiency=97 %"',)


def test_a_setting_says_where_it_was_written(story: Story) -> None:
    """The line named is the line that holds it, of one of several concentrates too."""
    told = 0
    for step in _steps("skerry_point").values():
        if step.kind == "setting" and (match := re.match(r".*\.toml:(\d+) (.*)", step.sources[0])):
            line = story.result.case.text.splitlines()[int(match[1]) - 1]
            assert line.strip() == match[2]
            assert step.name.rpartition(".")[2] in line
            told += 1
    assert told > 30, told


def test_a_branch_that_was_not_taken_is_not_told(story: Story) -> None:
    """The case closes its heat with fuel: the surplus is set, and nothing of cold charge is told."""
    text = "\n".join(lines(story.explain("smelting.heat.surplus")))
    assert "set" in text
    assert "cold" not in text


def test_solver_tables_and_sources_are_named(story: Story) -> None:
    text = "\n".join(lines(story.explain("smelting.oxygen_potential"), 12))
    solved = [s for s in story.explain("smelting.slag.rate").walk(400) if s.kind == "solved"]
    assert any("Newton" in s.equation and "residual" in s.equation for s in solved)
    assert all(s.parts for s in solved)
    assert "JANAF" in text
    assert "Goto" in text


def test_sources_of_all_equations_behind_a_reading_are_named(story: Story) -> None:
    """Of those that a page has no room for too, and only of those."""
    demand, feed = story.sources("smelting.oxygen.demand"), story.sources("feed.dry_rate")
    assert any("Matousek 1996" in text for text in demand)
    assert any("Goto 1974" in text for text in demand)
    assert not any("Matousek 1996" in text for text in feed)
    told = "\n".join(lines(story.explain("smelting.oxygen.demand"), behind=demand))
    assert "Sources of equations further back" in told


def test_a_share_of_the_tables_names_its_own_source(story: Story) -> None:
    """Not the atomic weights, which a table of the same element rests on."""
    roots = [story.explain(f"deportment.{x}.smelting.gas") for x in ("As", "Pb", "Sb")]
    steps = [step for root in roots for step in root.walk(200) if step.kind == "table"]
    shares = [step for step in steps if step.name.startswith("share of ")]
    assert len(shares) >= len(roots)
    for step in shares:
        assert step.sources[0].startswith(("Davenport", "Keller", "an estimate")), step.name


def test_equations_that_were_solved_are_zero(story: Story) -> None:
    for root in _told("skerry_point").values():
        for step in root.walk(STEPS):
            if step.kind == "solved":
                assert abs(step.parts[0].step.value) < 1e-6, step.equation


def test_the_assay_stands_behind_the_minerals(story: Story) -> None:
    moving = {i.step.name for i in influences(story.known, "feed.minerals.chalcopyrite")}
    for c in story.result.case.inputs.concentrate:
        assert f"concentrate.{c.name}.assay.Cu" in moving
        assert f"concentrate.{c.name}.rate" in moving


@pytest.mark.parametrize("key", ["smelting.oxygen.demand", "smelting.matte.rate", "smelting.slag.assay.Cu"])
def test_influence_is_what_sensitivity_finds(story: Story, key: str) -> None:
    """Per cent for per cent, and the same settings."""
    by_key = {i.step.name: i.slope for i in influences(story.known, key) if i.step.kind == "setting"}
    rates = re.compile(r"concentrate\..*\.rate")  # of one sensitivity holds the whole feed
    found = sensitivity(story.result.case, [key])[key]
    effects = [e for e in found if "*" not in e.setting and not rates.match(e.setting)]
    compared = 0
    for e in effects:
        if math.isfinite(e.elasticity) and e.below is None and not e.count and abs(e.elasticity) > 1e-6:
            assert by_key[e.setting] == pytest.approx(e.slope, rel=1e-5), e.setting
            compared += 1
    assert compared > 5


def test_nothing_without_influence_is_listed(story: Story) -> None:
    found = influences(story.known, "smelting.oxygen.demand")
    assert all(i.slope != 0.0 for i in found)
    changes = [abs(i.change) for i in found]
    assert changes == sorted(changes, reverse=True)


def test_depth_shows_every_step_down_to_it(story: Story) -> None:
    root = story.explain("smelting.oxygen.demand")
    one, two = (list(lines(root, depth)) for depth in (1, 2))
    assert len(two) > len(one)
    assert any("FeO" in line for line in two)


def test_a_loop_is_told_as_one() -> None:
    """The mean over the time steps of a schedule: how many, and the largest."""
    text = " ".join(" ".join(lines(_story("marram_sound").explain("load.so2_mean"))).split())
    assert "sum of 120 terms, the largest 3" in text
    assert "117 others" in text


def test_pieces_of_plant_one_after_the_other_are_one_line() -> None:
    """SO2 along the gas train: what each reaction takes stands in one sum, and not in a chain of equal names."""
    steps = _story("marram_sound").explain("acid.so2_load").walk(60)
    assert any(step.equation.count("extent") >= 4 for step in steps)


def test_the_beds_of_the_converter_are_told() -> None:
    text = " ".join(" ".join(lines(_story("marram_sound").explain("acid.tail.so2"))).split())
    assert "bed 4" in text
    assert "oxidised" in text


def test_trees_are_not_written_out_by_accident(story: Story) -> None:
    """Branches meet again and again: a text of the whole would have no end."""
    assert len(repr(story.explain("smelting.oxygen.demand"))) < 1000


def test_the_trace_is_closed_again(story: Story, skerry: Result) -> None:
    """The balance told of is the balance reported."""
    assert current() is None
    told = story.result.results.smelting.matte.n
    np.testing.assert_allclose(np.asarray(told), skerry.results.smelting.matte.n, rtol=1e-12)


def test_a_hostile_case_is_explained_on_plain_lines(nasty: Result) -> None:
    story = Story(nasty.case)
    for key in ("feed.dry_rate", "smelting.matte.rate"):
        for line in lines(story.explain(key)):
            assert line.isprintable() or line == ""
        page = explain_html(story, key)
        assert "<script>alert" not in page


def test_the_page_folds_without_a_script(story: Story) -> None:
    page = explain_html(story, "smelting.oxygen.demand")
    tree = page[page.index('<div class="tree">') : page.index('<h2 id="moves">')]
    assert tree.count("<details") == tree.count("</details>") == tree.count("<summary>") > 20
    assert "smelting.oxygen_efficiency" in tree
    assert "<script" not in tree


def test_unknown_readings_are_refused(story: Story) -> None:
    with pytest.raises(KeyError, match=r"smelting\.matte\.rate"):
        story.explain("smelting.mate.rate")
    with pytest.raises(KeyError, match="has no value in this case"):
        story.explain("smelting.matte.assay.Xx")


SAID = [
    ("smelting.oxygen.deman", 'did you mean "smelting.oxygen.demand"'),
    ("smelting.oxygen_efficienc", 'did you mean "smelting.oxygen_efficiency"'),
    ("smelting.nonsense", "pyrobal readings smelting lists"),
    ("acid.so2_load", "it takes [acid_plant], which the case does not have"),
    ("smelting.matte.assay.Xx", "'Xx' is none of Cu, Fe"),
]


@pytest.mark.parametrize(("key", "said"), SAID)
def test_a_key_that_is_none_says_why(key: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", str(ROOT / "cases" / "skerry_point.toml"), key]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("smelting.oxygen_efficiency", ["= 99 %", "given in the case", "allowed: 30 to 100 %"]),
        ("smelting.air_in_leakage", ["its default used"]),
        ("smelting.oxygen_per_tonne", ["does not give", "Nm3/t"]),
        ("concentrate.Fenholt.assay.Cu", ["= 28.1 wt%", "given in the case"]),
    ],
)
def test_a_setting_is_explained_too(key: str, said: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    case = load_case(ROOT / "cases" / "skerry_point.toml")
    assert main(["explain", str(ROOT / "cases" / "skerry_point.toml"), key]) == 0
    out = capsys.readouterr().out
    if key in case.assumed or said != ["its default used"]:
        assert all(words in out for words in said), out


def test_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    case = str(ROOT / "cases" / "skerry_point.toml")
    assert main(["explain", case, "smelting.oxygen.per_tonne"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("smelting.oxygen.per_tonne = ")
    assert "pyrobal explain" in out
    assert main(["explain", case, "smelting.matte.rate", "--set", "smelting.matte_grade=79.8 %"]) == 1
    assert "matte grade too high" in " ".join(capsys.readouterr().out.split())
