"""Where the tables are looked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from pyrobal.errors import DataError
from pyrobal.thermo import files


def test_checkout_has_the_tables_beside_the_package() -> None:
    assert files.data_root().name == "thermo_data"
    assert (files.data_root() / "substances" / "minerals.csv").is_file()


def test_installed_wheel_has_them_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    inside = tmp_path / "pyrobal" / "thermo_data"
    inside.mkdir(parents=True)
    (inside / "sources.bib").write_text("")
    monkeypatch.setattr(files, "_PACKAGE", tmp_path / "pyrobal")
    assert files.data_root() == inside


def test_missing_tables_are_said_to_be_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_PACKAGE", tmp_path / "pyrobal")
    with pytest.raises(DataError, match="tables are missing"):
        files.data_root()
