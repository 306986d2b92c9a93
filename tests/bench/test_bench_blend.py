"""A blend of six parcels on the whole plant: its searches side by side, against one after the other.

python -m pytest tests/bench/test_bench_blend.py -n 0 --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.studies.balances import Balances
from pyrobal.studies.blend import Advice, blend
from pyrobal.studies.limit import limits
from pyrobal.studies.terms import load_terms

MARRAM = Path(__file__).parents[2] / "cases" / "marram_sound.toml"
OFFERED = {"Fenholt": 60, "Marrick Dale": 45, "Tolven": 25, "Kelda": 20, "Orrin": 15, "Strath": 30}  # t/h
TREATMENT = {"Fenholt": 80, "Marrick Dale": 85, "Tolven": 70, "Kelda": 110, "Orrin": 65, "Strath": 120}
NEW = {
    "Kelda": "Cu = 25.0\nFe = 26.0\nS = 32.0\nSiO2 = 9.0\nAl2O3 = 2.0\nAs = 0.6\nZn = 2.1\nPb = 0.8",
    "Orrin": "Cu = 34.0\nFe = 21.0\nS = 27.0\nSiO2 = 10.0\nAl2O3 = 2.5\nAs = 0.05\nZn = 0.3",
    "Strath": "Cu = 21.5\nFe = 31.0\nS = 35.5\nSiO2 = 5.0\nAl2O3 = 1.2\nAs = 0.1\nZn = 3.0\nPb = 1.2",
}
LIMITS = ("feed.assay.As <= 0.22 %", "feed.assay.Zn <= 1.0 %", "smelting.fuel_heat <= 16 MW",
          "acid.production <= 118 t/h")  # fmt: skip


def _six(folder: Path) -> Case:
    parts = "".join(
        f'[[concentrate]]\nname = "{name}"\nrate = "0 t/h"\nmoisture = "9 %"\n[concentrate.assay]\n{assay}\n\n'
        for name, assay in NEW.items()
    )
    path = folder / "six.toml"
    path.write_text(MARRAM.read_text().replace("[charge]", f"{parts}[charge]", 1))
    return load_case(path)


def _offer(folder: Path) -> Path:
    parcels = "".join(
        f'[parcel."{name}"]\nmost = "{most} t/h"\npayable = "96.5 %"\ndeduction = "1 %"\n'
        f"treatment = {TREATMENT[name]}\nrefining = 180\n"
        for name, most in OFFERED.items()
    )
    path = folder / "offer.toml"
    path.write_text(f'copper_price = 9200\ncharge = "110 t/h"\n{parcels}[expense]\n"smelting.fuel" = 0.35\n')
    return path


def _one_by_one(self: Balances, searches: Sequence[Callable[[], Any]]) -> list[Any]:
    return [search() for search in searches]


@pytest.mark.benchmark(group="blend")
def test_searches_side_by_side(benchmark: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = _six(tmp_path)
    terms, held = load_terms(case, _offer(tmp_path)), limits(case, LIMITS)

    def timed() -> tuple[float, Advice]:
        begin = time.process_time()
        found = blend(case, terms, held)
        return time.process_time() - begin, found

    together, best = benchmark.pedantic(timed, rounds=1)
    with monkeypatch.context() as patched:
        patched.setattr(Balances, "side_by_side", _one_by_one)
        alone, other = timed()
    assert other.best.rates == pytest.approx(best.best.rates, abs=1e-4)
    print(f"\nblend of six parcels: side by side {together:.1f} s, one by one {alone:.1f} s")
    benchmark.extra_info.update(side_by_side=together, one_by_one=alone, ratio=alone / together)
