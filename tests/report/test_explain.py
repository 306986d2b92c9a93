"""Explanations are derived from the code that ran: their equations hold, and every reading has one."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.readings.registry import find
from pyrobal.report.explain.ground import Explanation, Node
from pyrobal.report.explain.show import lines
from pyrobal.report.explain.tree import Story
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Result, balance

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def story(skerry: Result) -> Story:
    return Story(skerry)


@pytest.fixture(scope="module")
def told(story: Story, skerry: Result) -> dict[str, Explanation]:
    """One reading of each line of the registry: members of a family are made by the same code."""
    first = {find(key)[0].key: key for key in reversed(list(skerry))}
    return {key: story.explain(key) for key in first.values()}


@pytest.fixture(scope="module")
def continuous() -> Story:
    return Story(balance(load_case(ROOT / "cases" / "thrift_ness.toml")))


def _number(node: Node) -> float:
    return float(node.value.split()[0])


def test_every_reading_leads_back_to_settings(told: dict[str, Explanation]) -> None:
    for key, explanation in told.items():
        assert explanation.root.equation, key
        assert explanation.settings, key
        assert len(list(explanation.root.walk())) > 2, key


def test_the_root_is_the_reading(told: dict[str, Explanation], skerry: Result) -> None:
    values = {line.key: quantity(line.value, line.unit, 6) for line in skerry.lines}
    for key, explanation in told.items():
        assert explanation.root.value == values[key]
        assert explanation.root.kind == "reading"


def test_places_are_where_the_equations_stand(told: dict[str, Explanation]) -> None:
    """At or below the line named, the file holds the expression that is shown."""
    parsed: dict[str, list[tuple[int, str]]] = {}
    checked = 0
    for explanation in told.values():
        for node in explanation.root.walk():
            if node.kind != "equation" or not node.place or ";" in node.equation:
                continue
            file, line = node.place.rsplit(":", 1)
            if file not in parsed:
                tree = list(ast.walk(ast.parse((ROOT / file).read_text(encoding="utf-8"))))
                parsed[file] = [(n.lineno, ast.unparse(n)) for n in tree if isinstance(n, ast.expr)]
                parsed[file] += [
                    (n.lineno, ast.unparse(ast.BinOp(n.target, n.op, n.value)))
                    for n in tree
                    if isinstance(n, ast.AugAssign) and isinstance(n.target, ast.Name)
                ]
            here = [text for at, text in parsed[file] if at >= int(line)]
            if node.equation in here:
                checked += 1
            else:  # an expression written element by element, or one of several values
                assert re.search(r"\[\d\]$|self\.|other\.", node.equation), (node.place, node.equation)
    assert checked > 200


ROUNDED = 5e-6  # half a unit of the sixth digit, relative at most


def _computable(node: Node) -> bool:
    """Whether an equation is made of signs and of operands whose numbers are all shown, in SI."""
    told_in_plant_units = node.kind == "reading" or node.words.startswith("the reading")
    if told_in_plant_units or not node.value or " values" in node.value or not node.children:
        return False
    for child in node.children:
        number = re.fullmatch(r"-?[\d.e+-]+( .*)?", child.value) and " values" not in child.value
        if not number or child.kind == "setting" or child.words.startswith("the reading"):
            return False
    rest = node.equation
    for child in node.children:
        rest = rest.replace(child.name, "")
    return bool(re.fullmatch(r"[\d\s.*+/()-]+", rest))


def _worked_out(node: Node, changed: int = -1) -> float:
    """The equation with the numbers of its operands in place, one of them shifted by its rounding."""
    text = node.equation
    for i, child in sorted(enumerate(node.children), key=lambda pair: -len(pair[1].name)):
        value = _number(child) * (1.0 + (ROUNDED if i == changed else 0.0))
        text = re.sub(rf"(?<![\w.]){re.escape(child.name)}(?![\w.])", f"({value!r})", text)
    return float(eval(text, {"__builtins__": {}}))  # numbers and signs only


def test_the_values_shown_satisfy_the_equation_shown(told: dict[str, Explanation]) -> None:
    """Worked out anew from the six digits in the trees, each equation gives the value above it."""
    nodes = {(n.place, n.name): n for e in told.values() for n in e.root.walk() if _computable(n)}
    for node in nodes.values():
        value = _worked_out(node)
        rounding = sum(abs(_worked_out(node, i) - value) for i in range(len(node.children)))
        slack = 1.1 * (rounding + ROUNDED * abs(_number(node))) + 1e-12
        assert abs(value - _number(node)) <= slack, (node.place, node.equation, value, node.value)
    assert len(nodes) >= 30, len(nodes)


def test_a_setting_changed_changes_what_is_told(skerry: Result) -> None:
    other = balance(load_case(ROOT / "cases" / "skerry_point.toml", ["smelting.oxygen_efficiency=97 %"]))
    first, second = (Story(r).explain("smelting.oxygen.demand") for r in (skerry, other))
    assert first.settings["smelting.oxygen_efficiency"][0] == "99 %"
    assert second.settings["smelting.oxygen_efficiency"][0] == "97 %"
    assert first.root.value != second.root.value


def test_solver_tables_and_sources_are_named(told: dict[str, Explanation]) -> None:
    potential = told["smelting.oxygen_potential"]
    assert any("iterations" in text and "residual" in text for text in potential.solved)
    assert any("settings of smelting" in text for text in potential.solved)
    assert any("Goto" in source for source in potential.sources)
    heat = next(e for key, e in told.items() if key.startswith("smelting.heat.out."))
    assert any(node.kind == "table" for node in heat.root.walk())
    assert any("JANAF" in source for source in heat.sources)


def test_the_assay_stands_behind_the_minerals(told: dict[str, Explanation], skerry: Result) -> None:
    minerals = next(e for key, e in told.items() if key.startswith("feed.minerals."))
    for c in skerry.case.inputs.concentrate:
        assert {f"concentrate.{c.name}.assay.{name}" for name in c.assay} <= minerals.settings.keys()


def test_the_text_is_short_and_narrow(told: dict[str, Explanation]) -> None:
    for key, explanation in told.items():
        text = list(lines(explanation, width=80))
        tree = text[: text.index("")] if "" in text else text
        assert len(tree) <= 60, key
        assert max(map(len, text)) <= 80, key


@pytest.mark.parametrize(
    "key",
    ["converting.blister.rate", "slag_cleaning.slag.copper", "anode.rate", "acid.hottest_bed", "emissions.so2",
     "gas.furnace.flow_wet", "recovery.Cu", "balance.S.closure"],
)  # fmt: skip
def test_later_steps_lead_back_to_settings_too(key: str, continuous: Story) -> None:
    explanation = continuous.explain(key)
    nodes = list(explanation.root.walk())
    assert explanation.settings
    assert len(nodes) > 20
    assert {"equation", "function", "setting"} <= {node.kind for node in nodes}


def test_recording_leaves_no_trace(skerry: Result) -> None:
    """The profile hook is put back, and the balance told of is the balance reported."""
    import sys

    before = sys.getprofile()
    told = Story(skerry)
    assert sys.getprofile() is before
    np.testing.assert_array_equal(told._results.smelting.matte.n, skerry.results.smelting.matte.n)


def test_a_hostile_case_is_explained_on_plain_lines(nasty: Result) -> None:
    for key in ("feed.dry_rate", "smelting.matte.rate"):
        for line in lines(Story(nasty).explain(key)):
            assert line.isprintable() or line == ""


def test_unknown_readings_are_refused(story: Story) -> None:
    with pytest.raises(KeyError, match=r"smelting\.matte\.rate"):
        story.explain("smelting.mate.rate")
    with pytest.raises(KeyError, match="has no value in this case"):
        story.explain("smelting.matte.assay.Xx")


def test_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    case = str(ROOT / "cases" / "skerry_point.toml")
    assert main(["explain", case, "smelting.oxygen.per_tonne"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("smelting.oxygen.per_tonne = ")
    assert "Settings on the way" in out
    assert main(["explain", case, "smelting.oxygen.per_ton"]) == 2
    assert "did you mean 'smelting.oxygen.per_tonne'" in capsys.readouterr().err
    assert main(["explain", case, "smelting.matte.rate", "--set", "smelting.matte_grade=79.8 %"]) == 1
    assert "matte grade too high" in " ".join(capsys.readouterr().out.split())
