"""A study on disk: parts survive, a rerun goes on from them, and nothing is overwritten by mistake."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas
import pyarrow.parquet
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.studies import store as store_module
from pyrobal.studies.store import MANIFEST, Store
from pyrobal.studies.sweep import Sweep, prepare, sweep_to

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.fixture(scope="module")
def job(case: Case) -> Sweep:
    over = {"smelting.matte_grade": "60:85 %:11"}
    return prepare(case, over, ["smelting.heat.surplus", "smelting.gas.so2"], chunk=3)


@pytest.fixture(scope="module")
def expected(job: Sweep) -> pandas.DataFrame:
    return pandas.concat([part.frame() for _, part in job.run()], ignore_index=True)


def read(path: Path) -> pandas.DataFrame:
    if path.suffix == ".csv":
        return pandas.read_csv(path, keep_default_na=False, na_values={"x": []})
    frame: pandas.DataFrame = pandas.read_parquet(path)
    return frame


def numbers(cells: pandas.Series) -> np.ndarray:
    """As Python reads them; not every pandas parser keeps the last bits."""
    return np.array([float(cell) if cell != "" else np.nan for cell in cells])


@pytest.mark.parametrize("name", ["out.csv", "out.parquet", "out"])
def test_what_is_written_is_what_was_found(
    job: Sweep, expected: pandas.DataFrame, tmp_path: Path, name: str
) -> None:
    counted: list[int] = []
    path = sweep_to(tmp_path / name, job, progress=lambda n, _: counted.append(n))
    assert sum(counted) == 11
    found = read(path)
    assert list(found.columns) == list(expected.columns)
    for heading in expected.columns[:-1]:
        values = numbers(found[heading])
        np.testing.assert_allclose(
            values, expected[heading].to_numpy(), rtol=1e-13
        )  # solved twice: a last bit may differ
    assert found["reason"].tolist() == expected["reason"].tolist()
    assert "grade_leaves_no_iron_sulfide" in found["reason"].tolist()
    kept = {"out"} if name == "out" else {name, f"{name}.study.json"}
    assert {path.name for path in tmp_path.iterdir()} == kept  # no parts, no .tmp


def stop_after(count: int, monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    original = Store.write

    def write(self: Store, number: int, part: object) -> None:
        if number == count:
            raise error
        original(self, number, part)  # type: ignore[arg-type]

    monkeypatch.setattr(Store, "write", write)


@pytest.mark.parametrize("name", ["out.csv", "out.parquet", "out"])
@pytest.mark.parametrize("error", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_a_rerun_goes_on_from_the_parts_there_are(
    job: Sweep, expected: pandas.DataFrame, tmp_path: Path, name: str, error: BaseException
) -> None:
    with pytest.MonkeyPatch.context() as monkeypatch:
        stop_after(2, monkeypatch, error)
        with pytest.raises(type(error)):
            sweep_to(tmp_path / name, job)
    parts = Store.at(tmp_path / name).folder
    assert sum(path.name.startswith("part-") for path in parts.iterdir()) == 2
    assert (parts / MANIFEST).exists()
    written = {path: path.stat().st_mtime_ns for path in parts.glob("part-*")}
    solved: list[int] = []
    path = sweep_to(tmp_path / name, job, progress=lambda n, _: solved.append(n))
    assert sum(solved) == 11
    if name == "out":
        assert all(path.stat().st_mtime_ns == time for path, time in written.items())  # not solved again
    found = read(path)
    for heading in expected.columns[:-1]:
        values = numbers(found[heading])
        np.testing.assert_allclose(
            values, expected[heading].to_numpy(), rtol=1e-13
        )  # solved twice: a last bit may differ


def test_a_part_that_was_half_written_does_not_count(job: Sweep, tmp_path: Path) -> None:
    with pytest.MonkeyPatch.context() as monkeypatch:
        stop_after(1, monkeypatch, KeyboardInterrupt())
        with pytest.raises(KeyboardInterrupt):
            sweep_to(tmp_path / "out", job)
    (tmp_path / "out" / ".part-00001.parquet.123.part").write_bytes(b"half")
    sweep_to(tmp_path / "out", job)
    assert not list((tmp_path / "out").glob(".*"))
    assert len(pyarrow.parquet.read_table(tmp_path / "out")) == 11


def test_a_failed_write_leaves_nothing_behind(tmp_path: Path) -> None:
    def fail(_: object) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        store_module._put(tmp_path / "part-00000.csv", fail)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("over", "overrides"),
    [
        ({"smelting.matte_grade": "60:84 %:11"}, []),
        ({"smelting.matte_grade": "60:85 %:11"}, ["smelting.fe_sio2=1.3"]),
    ],
)
def test_another_study_is_not_mixed_in(
    job: Sweep, tmp_path: Path, over: dict[str, str], overrides: list[str]
) -> None:
    sweep_to(tmp_path / "out", job)
    other = prepare(load_case(SKERRY, overrides), over, list(job.units), chunk=3)
    with pytest.raises(CaseError, match="holds another study"):
        sweep_to(tmp_path / "out", other)
    assert len(pyarrow.parquet.read_table(tmp_path / "out")) == 11


def test_a_manifest_that_is_broken_is_another_study(job: Sweep, tmp_path: Path) -> None:
    sweep_to(tmp_path / "out", job)
    (tmp_path / "out" / MANIFEST).write_text("{half")
    with pytest.raises(CaseError, match="holds another study"):
        sweep_to(tmp_path / "out", job)


def test_a_finished_folder_is_taken_as_it_is(job: Sweep, tmp_path: Path) -> None:
    sweep_to(tmp_path / "out", job)
    with pytest.MonkeyPatch.context() as monkeypatch:
        stop_after(0, monkeypatch, AssertionError("solved again"))
        sweep_to(tmp_path / "out", job)


@pytest.mark.parametrize("name", ["mine.csv", "mine.parquet"])
def test_a_file_of_somebody_else_is_left_alone(job: Sweep, tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_text("precious\n")
    with pytest.raises(CaseError, match="exists and is not of this study"):
        sweep_to(file, job)
    assert file.read_text() == "precious\n"
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_a_finished_file_is_known_again(job: Sweep, tmp_path: Path, name: str) -> None:
    file = sweep_to(tmp_path / name, job)
    before = file.stat().st_mtime_ns
    with pytest.MonkeyPatch.context() as monkeypatch:
        stop_after(0, monkeypatch, AssertionError("solved again"))
        sweep_to(file, job)
    assert file.stat().st_mtime_ns == before
    other = prepare(load_case(SKERRY, ["smelting.fe_sio2=1.3"]), {"smelting.matte_grade": "60:85 %:11"},
                    list(job.units), chunk=3)  # fmt: skip
    with pytest.raises(CaseError, match="exists and is not of this study"):
        sweep_to(file, other)
    with file.open("ab") as changed:
        changed.write(b"a line of my own\n")
    with pytest.raises(CaseError, match="exists and is not of this study"):
        sweep_to(file, job)
    file.unlink()
    assert sweep_to(file, job).exists()  # a manifest without its file stands in nobody's way


def test_a_file_that_comes_meanwhile_is_left_alone(job: Sweep, tmp_path: Path) -> None:
    file = tmp_path / "out.csv"
    with pytest.raises(CaseError, match="exists and is not of this study"):
        sweep_to(file, job, progress=lambda *_: file.write_text("precious\n") and None)
    assert file.read_text() == "precious\n"
    assert len(list((tmp_path / "out.csv.parts").glob("part-*.csv"))) == 4


def test_a_kill_between_manifest_and_file_loses_nothing(
    job: Sweep, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def kill(source: Path, target: Path) -> None:
        if target.name == "out.csv":
            raise KeyboardInterrupt
        source.rename(target)

    with monkeypatch.context() as patch:
        patch.setattr(store_module.os, "replace", kill)
        with pytest.raises(KeyboardInterrupt):
            sweep_to(tmp_path / "out.csv", job)
    assert (tmp_path / "out.csv.study.json").exists()
    assert not (tmp_path / "out.csv").exists()
    stop_after(0, monkeypatch, AssertionError("solved again"))
    assert len(read(sweep_to(tmp_path / "out.csv", job))) == 11


@pytest.mark.parametrize("name", ["out.xlsx", "out.txt", "study.v2"])
def test_a_kind_of_file_that_is_not_written_is_said(job: Sweep, tmp_path: Path, name: str) -> None:
    with pytest.raises(CaseError, match=r"name a file in \.csv or \.parquet, or a folder"):
        sweep_to(tmp_path / name, job)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_other_things_is_left_alone(job: Sweep, tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("sir")
    with pytest.raises(CaseError, match="holds no study"):
        sweep_to(tmp_path / "letters", job)


def test_a_place_of_the_wrong_kind_is_refused(job: Sweep, tmp_path: Path) -> None:
    (tmp_path / "out.csv").mkdir()
    (tmp_path / "out").write_text("a file")
    for name in ("out.csv", "out"):
        with pytest.raises(CaseError, match="is a f"):
            sweep_to(tmp_path / name, job)


def test_a_place_that_cannot_be_written_is_said(job: Sweep, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CaseError, match="there is no directory"):
        sweep_to(tmp_path / "file" / "out.csv", job)
    assert not (tmp_path / "missing").exists()


def test_the_manifest_says_whose_the_parts_are(job: Sweep, tmp_path: Path) -> None:
    sweep_to(tmp_path / "out", job)
    manifest = json.loads((tmp_path / "out" / MANIFEST).read_text())
    assert manifest["scenarios"] == 11
    assert manifest["case"] == "Skerry Point smelter, autumn blend"
    assert len(manifest["case_sha256"]) == 64
    assert manifest["pyrobal"].startswith("0.")


def test_without_pyarrow_a_csv_is_still_written(
    job: Sweep, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow.parquet", None)
    sweep_to(tmp_path / "out.csv", job)
    with pytest.raises(CaseError, match="pip install"):
        sweep_to(tmp_path / "out.parquet", job)
