"""Which scenarios are meant: keys, units, ranges, grids, tables of scenarios, and everything wrong with them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.studies.grid import MOST_SCENARIOS, grid, unused, varied
from pyrobal.studies.variable import find, variables

CASES = Path(__file__).parents[2] / "cases"
SKERRY = CASES / "skerry_point.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.mark.parametrize("file", sorted(CASES.glob("*.toml")), ids=lambda file: file.stem)
def test_every_number_of_a_case_is_a_variable_at_the_path_that_inputs_have(file: Path) -> None:
    inputs = load_case(file).inputs
    here = variables(inputs).values()
    numbers = dict(inputs.arrays())
    assert numbers.keys() <= {v.path for v in here}
    assert all(v.value(inputs) is numbers.get(v.path) for v in here)


def test_a_value_is_read_as_the_case_reads_it(case: Case) -> None:
    for key, text, si in (
        ("smelting.matte_grade", "66 %", 0.66),
        ("smelting.matte_temperature", "1200 degC", 1473.15),
        ("concentrate.Fenholt.assay.Cu", 30, 0.30),
        ("concentrate.Fenholt.assay.Au", "10 g/t", 1e-5),
        ("concentrate.Marrick Dale.rate", "36 t/h", 10.0),
        ("flux.silica.moisture", "4 %", 0.04),
        ("fuel.natural_gas.CH4", 90, 0.90),
        ("smelting.fe_sio2", 1.3, 1.3),
    ):
        variable = find(case.inputs, key)
        assert variable.si(text) == pytest.approx(si, rel=1e-12)
        changed = case.inputs.replace(variable.path, si)
        assert variable.value(changed) == pytest.approx(si)
        assert variable.si(variable.text(si)) == pytest.approx(si, rel=1e-15)


def test_a_grid_is_every_combination_and_the_last_axis_runs_fastest(case: Case) -> None:
    found = grid(case, {"smelting.enrichment": "45:85 %:5", "smelting.fe_sio2": ["1.2", 1.3]})
    assert found.scenarios == 10
    values = found.values(0, 10)
    np.testing.assert_allclose(values[:, 0], np.repeat([0.45, 0.55, 0.65, 0.75, 0.85], 2))
    np.testing.assert_allclose(values[:, 1], np.tile([1.2, 1.3], 5))
    np.testing.assert_array_equal(found.values(3, 7), values[3:7])
    inputs = varied(case.inputs, found.variables, values)
    assert inputs.scenarios == 10
    assert inputs.smelting.fe_sio2[1] == 1.3


def test_a_table_of_scenarios_steps_its_settings_together(case: Case, tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(
        "smelting.enrichment [%],smelting.heat_loss,concentrate.Fenholt.assay.Cu\n50,15 MW,28\n60,17000 kW,27.5\n"
    )
    found = grid(case, {"smelting.fe_sio2": "1.2,1.3"}, file)
    assert found.scenarios == 4
    np.testing.assert_allclose(
        found.values(0, 4),
        [[0.5, 15e6, 0.28, 1.2], [0.5, 15e6, 0.28, 1.3], [0.6, 17e6, 0.275, 1.2], [0.6, 17e6, 0.275, 1.3]],
    )


@pytest.mark.parametrize(
    ("over", "says"),
    [
        ({"smelting.enrichmnt": "45:85 %:5"}, 'did you mean "smelting.enrichment"'),
        ({"smelting.enrichment": "45:85 %:0"}, "empty range"),
        ({"smelting.enrichment": "45:85 %:1"}, "empty range"),
        ({"smelting.enrichment": "45:85 %:many"}, "not a count"),
        ({"smelting.enrichment": "45:85 %"}, "neither FROM:TO:COUNT"),
        ({"smelting.enrichment": "45 C:85 %:5"}, "unknown unit"),
        ({"smelting.enrichment": "45:85 MW:5"}, "is a power"),
        ({"smelting.enrichment": "45:85:5"}, "has no unit"),
        ({"smelting.enrichment": "45:850 %:5"}, "too high"),
        ({"smelting.enrichment": "nan %,50 %"}, "not a finite number"),
        ({"smelting.enrichment": []}, "is empty"),
        ({"smelting.enrichment": ""}, "is empty"),
        ({"smelting.fuel": "oil"}, "is a word"),
        ({"smelting.slag_magnetite": "predicted"}, "does not begin with a number"),
        ({"smelting.deportment.As.matte": "20 %"}, "write all shares"),
        ({"concentrate.Nowhere.rate": "1 t/h"}, "no setting has this key"),
        ({"concentrate.Fenhol.rate": "1 t/h"}, 'did you mean "concentrate.Fenholt.rate"'),
        ({"acid_plant_x.y": "1"}, "no setting has this key"),
        ({}, "no setting is varied"),
        ({"smelting.enrichment": "45:85 %:1000000", "smelting.fe_sio2": "1:2:1000000"}, "1,000,000,000,000"),
        ({"smelting.enrichment": f"45:85 %:{MOST_SCENARIOS + 1}"}, "more than"),
        ({"concentrate.Fenholt.share": "10 %,20 %"}, "exclude each other"),
        ({"smelting.cao_sio2": "0.1"}, "needs a [flux.lime]"),
        ({"concentrate.Fenholt.assay.Cu": "20:99:3"}, "cannot exceed 100 %"),
    ],
)
def test_what_is_wrong_is_said(case: Case, over: dict[str, str], says: str) -> None:
    with pytest.raises(CaseError) as caught:
        grid(case, over)
    assert says in str(caught.value)


def test_every_fault_is_said_at_once(case: Case) -> None:
    with pytest.raises(CaseError) as caught:
        grid(case, {"smelting.enrichmnt": "1", "smelting.fe_sio2": "2:1", "smelting.dust": "5"})
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "holds no scenarios"),
        ("smelting.fe_sio2\n", "holds no scenarios"),
        ("smelting.fe_sio2,reason\n1.2,\n", "list.csv:1: reason"),
        ("smelting.fe_sio2\n1.2\n1.3,4\n", "list.csv:3: 2 cells under 1"),
        ("smelting.fe_sio2\n1.2\n\n12\n", "list.csv:4: smelting.fe_sio2: 12 is too high"),
        ("smelting.enrichment [MW]\n1.2\n", "is a power"),
        ("smelting.enrichment [%]\n50\n120\n", "list.csv:3: smelting.enrichment"),
        ("smelting.enrichment [%]\n50\nfifty\n", "list.csv:3"),
        ("smelting.enrichment\n50\n", "has no unit"),
        ("smelting.fe_sio2,smelting.fe_sio2\n1.2,1.2\n", "list.csv:1: smelting.fe_sio2: heads two columns"),
    ],
)
def test_what_is_wrong_with_a_table_is_said_with_its_line(
    case: Case, tmp_path: Path, text: str, says: str
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(text)
    with pytest.raises(CaseError) as caught:
        grid(case, {}, file)
    assert says in str(caught.value)


@pytest.mark.parametrize(
    "content", [b"smelting.fe_sio2\n\xff\xfe\n", b'smelting.fe_sio2\n"1.2\x00\n' * 2 + b"\x00"]
)
def test_a_file_that_is_no_table_is_said(case: Case, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "list.csv").write_bytes(content)
    with pytest.raises(CaseError, match=r"list\.csv"):
        grid(case, {}, tmp_path / "list.csv")


def test_a_setting_without_effect_is_said(case: Case) -> None:
    lime = grid(case, {"smelting.magnetite_over_equilibrium": "3,4"}).variables
    assert unused(case, lime) == []
    fixed = load_case(case.text, ["smelting.slag_magnetite=8 %"])
    said = unused(fixed, lime)
    assert len(said) == 1
    assert "no effect" in said[0]
