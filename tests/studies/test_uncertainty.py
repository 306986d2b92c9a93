"""Uncertainty against outside answers: the Ishigami function, exact formulas, scipy's distributions and intervals."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from demos import solved

from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.enthalpies import contributions, formed, heat_error
from pyrobal.studies.indices import sobol_indices
from pyrobal.studies.limit import limits
from pyrobal.studies.measure import measured
from pyrobal.studies.spread import Spread, spread, spreads, usual, with_deportment
from pyrobal.studies.uncertainty import ENTHALPIES, Uncertainty, _risk, uncertainty
from pyrobal.studies.variable import find
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species

ROOT = Path(__file__).parents[2]
SKERRY = ROOT / "cases" / "skerry_point.toml"
NAMES = ("Fenholt", "Marrick Dale", "Tolven")


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


# Indices ------------------------------------------------------------------------------------------------


def ishigami(x: np.ndarray) -> np.ndarray:
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on [-pi, pi]^3 (Ishigami & Homma 1990, Proc. ISUMA 90, 398-403)."""
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def draws(n: int, d: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    u = scipy.stats.qmc.Sobol(2 * d, rng=np.random.default_rng(seed)).random(n)
    a, b = u[:, :d], u[:, d:]
    mixed = np.stack([np.where(np.arange(d) == g, b, a) for g in range(d)])
    return a, b, mixed


def test_sobol_indices_of_the_ishigami_function() -> None:
    # Exact, by integration (formulas as in Saltelli et al. 2008, Global Sensitivity Analysis, from memory):
    a, b = 7.0, 0.1
    variance = a**2 / 8 + b * np.pi**4 / 5 + b**2 * np.pi**8 / 18 + 0.5
    first = np.array([0.5 * (1 + b * np.pi**4 / 5) ** 2, a**2 / 8, 0.0]) / variance
    third = b**2 * np.pi**8 * 8 / 225 / variance
    total = np.array([first[0] + third, first[1], third])
    points = [np.pi * (2 * u - 1) for u in draws(32768, 3, seed=1)]
    found = sobol_indices(
        ishigami(points[0]), ishigami(points[1]), np.stack([ishigami(m) for m in points[2]]), seed=1
    )
    np.testing.assert_allclose(found.first, first, atol=0.01)
    np.testing.assert_allclose(found.total, total, atol=0.01)
    for value, band in ((first, found.first_range), (total, found.total_range)):
        assert (band[:, 0] - 0.005 <= value).all() and (value <= band[:, 1] + 0.005).all()
        assert (band[:, 1] - band[:, 0] < 0.12).all()


def test_sobol_indices_are_those_of_scipy() -> None:
    points = [np.pi * (2 * u - 1) for u in draws(1024, 3, seed=2)]
    f_a, f_b, f_ab = ishigami(points[0]), ishigami(points[1]), np.stack([ishigami(m) for m in points[2]])
    ours = sobol_indices(f_a, f_b, f_ab)
    theirs = scipy.stats.sobol_indices(
        func={"f_A": f_a[None], "f_B": f_b[None], "f_AB": f_ab[:, None]}, n=1024, dists=None
    )
    np.testing.assert_allclose(ours.first, theirs.first_order.ravel(), atol=0.01)
    np.testing.assert_allclose(ours.total, theirs.total_order.ravel(), atol=0.01)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Over 60 independent draws the 95 % interval of a known index (linear, 0.8 and 0.2) misses a few times only."""
    misses = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        a, b = rng.normal(size=(256, 2)), rng.normal(size=(256, 2))
        weights = np.array([2.0, 1.0])
        mixed = np.stack([np.where(np.arange(2) == g, b, a) @ weights for g in range(2)])
        found = sobol_indices(a @ weights, b @ weights, mixed, seed)
        misses += int(not found.first_range[0, 0] <= 0.8 <= found.first_range[0, 1])
    assert misses <= 9  # 3 expected; 9 or fewer with a chance above 99.9 % (binomial)


def test_nothing_varies_or_nothing_is_solved() -> None:
    flat = sobol_indices(np.ones(8), np.ones(8), np.ones((2, 8)))
    none = sobol_indices(np.full(8, np.nan), np.ones(8), np.ones((2, 8)))
    assert np.isnan(flat.first).all() and np.isnan(none.total).all()


def test_runs_without_an_answer_are_left_out() -> None:
    points = [np.pi * (2 * u - 1) for u in draws(4096, 3, seed=1)]
    f_a, f_b, f_ab = ishigami(points[0]), ishigami(points[1]), np.stack([ishigami(m) for m in points[2]])
    f_a[::17] = np.nan
    f_ab[1, 5::13] = np.nan
    found = sobol_indices(f_a, f_b, f_ab)
    np.testing.assert_allclose(found.first, [0.314, 0.442, 0.0], atol=0.04)


# Spreads ------------------------------------------------------------------------------------------------


def test_quantiles_are_those_of_scipy(case: Case) -> None:
    u = np.linspace(0.001, 0.999, 101)
    efficiency = find(case.inputs, "smelting.oxygen_efficiency")
    normal = Spread(efficiency, "normal", 0.99, 0.01)  # cut off at 30 % and 100 %
    theirs = scipy.stats.truncnorm((0.3 - 0.99) / 0.01, (1 - 0.99) / 0.01, loc=0.99, scale=0.01)
    np.testing.assert_allclose(normal.quantile(u), theirs.ppf(u), rtol=1e-9)
    triangular = Spread(efficiency, "triangular", 0.95, low=0.9, high=0.98)
    np.testing.assert_allclose(
        triangular.quantile(u), scipy.stats.triang(0.05 / 0.08, loc=0.9, scale=0.08).ppf(u), rtol=1e-12
    )
    uniform = Spread(efficiency, "uniform", 0.95, low=0.9, high=1.0)
    np.testing.assert_allclose(uniform.quantile(u), 0.9 + 0.1 * u, rtol=1e-14)


@pytest.mark.parametrize(
    ("key", "text", "kind", "numbers"),
    [
        ("smelting.enrichment", "+-0.5 %", "normal", (0.55, 0.005)),
        ("smelting.enrichment", "±2 % rel", "normal", (0.55, 0.011)),
        ("smelting.slag_temperature", "+-15 K", "normal", (1543.15, 15.0)),
        ("concentrate.Fenholt.assay.Cu", "+-0.2", "normal", (0.281, 0.002)),
        ("concentrate.Fenholt.assay.Au", "+-0.3 g/t", "normal", (9e-6, 3e-7)),
        ("smelting.heat_loss", "12:16 MW", "uniform", (12e6, 16e6)),
        ("smelting.heat_loss", "12 MW:13 MW:16 MW", "triangular", (12e6, 13e6, 16e6)),
    ],
)
def test_a_spread_is_read(case: Case, key: str, text: str, kind: str, numbers: tuple[float, ...]) -> None:
    found = spread(case.inputs, find(case.inputs, key), text)
    assert found.kind == kind
    mine = {"normal": (found.centre, found.width), "uniform": (found.low, found.high)}
    assert mine.get(kind, (found.low, found.centre, found.high)) == pytest.approx(numbers, rel=1e-9)


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("smelting.enrichmnt", "+-1 %", "did you mean"),
        ("smelting.enrichment", "1 %", "is not"),
        ("smelting.enrichment", "+-1 K", "is a temperature"),
        ("smelting.enrichment", "+-x % rel", "not a percentage"),
        ("smelting.enrichment", "+-0 %", "spreads nothing"),
        ("smelting.enrichment", "60:50 %", "empty range"),
        ("smelting.enrichment", "50:70:60 %", "empty range"),
        ("smelting.enrichment", "50:600 %", "too high"),
        ("smelting.slag_temperature", "+-10 degC", "difference"),
        ("smelting.slag_magnetite", "+-1 %", "holds no number"),
    ],
)
def test_what_is_wrong_with_a_spread_is_said(case: Case, key: str, text: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        spreads(case, {key: text})


def test_usual_spreads_are_of_settings_that_have_an_effect(case: Case) -> None:
    keys = [s.variable.key for source in usual(with_deportment(case.inputs)) for s in source.spreads]
    assert len(keys) == len(set(keys))
    assert "smelting.heat_loss" in keys
    assert "smelting.heat_loss_per_tonne" not in keys
    assert "smelting.distribution.As.slag_matte" in keys
    assert "smelting.distribution.Se.slag_matte" not in keys  # the feed brings none
    assert all(s.width > 0 for source in usual(case.inputs) for s in source.spreads)


def test_writing_the_deportment_out_changes_nothing(case: Case) -> None:
    a, b = solve(case.inputs), solve(with_deportment(case.inputs))
    np.testing.assert_allclose(a.smelting.slag.n, b.smelting.slag.n, rtol=1e-12)


# Propagation --------------------------------------------------------------------------------------------


def test_a_linear_case_is_the_exact_formula(case: Case) -> None:
    """The dry rate is the sum of three: variances add up, and each is its own share (all normal, independent)."""
    deviations = np.array([1.0, 0.6, 0.3])  # t/h
    stated = {f"concentrate.{name}.rate": f"+-{d} t/h" for name, d in zip(NAMES, deviations, strict=True)}
    found = uncertainty(case, ["feed.dry_rate"], spreads(case, stated), only_stated=True, samples=1024)
    scatter, indices = found.scatter["feed.dry_rate"], found.indices["feed.dry_rate"]
    exact = float(np.sqrt((deviations**2).sum()))
    assert scatter.mean == pytest.approx(110.0, abs=0.01)
    assert scatter.deviation == pytest.approx(exact, rel=0.005)
    normal = scipy.stats.norm(110.0, exact).ppf([0.05, 0.5, 0.95])
    np.testing.assert_allclose(scatter.percentiles, normal, atol=0.03)
    shares = deviations**2 / (deviations**2).sum()
    np.testing.assert_allclose(indices.first, shares, atol=0.02)
    np.testing.assert_allclose(indices.total, shares, atol=0.02)


def test_a_blend_assay_is_the_exact_formula(case: Case) -> None:
    """Copper in the blend is the mean by rate: variance = sum of (share x deviation)^2."""
    deviations, rates = np.array([0.2, 0.3, 0.5]), np.array([55.0, 38.0, 17.0])
    stated = {f"concentrate.{name}.assay.Cu": f"+-{d} %" for name, d in zip(NAMES, deviations, strict=True)}
    found = uncertainty(case, ["feed.assay.Cu"], spreads(case, stated), only_stated=True, samples=1024)
    exact = np.sqrt(((rates / rates.sum() * deviations) ** 2).sum())
    assert found.scatter["feed.assay.Cu"].deviation == pytest.approx(exact, rel=0.005)


STATED = """Ag = "75 g/t"
[concentrate.precision]
Cu = 0.1
Fe = "2 % rel"
"""


@pytest.fixture(scope="module")
def stated() -> Case:
    text = SKERRY.read_text()
    assert text.count('Ag = "75 g/t"\n') == 1  # of the first concentrate
    return load_case(text.replace('Ag = "75 g/t"\n', STATED))


@pytest.fixture(scope="module")
def usual_draws(stated: Case) -> Uncertainty:
    """A thousand draws of every usual spread, and of those that the case states."""
    return uncertainty(stated, ["smelting.oxygen.demand", "feed.assay.Cu"], samples=1024)


def test_a_smooth_reading_agrees_with_the_propagation_of_its_derivatives(
    stated: Case, usual_draws: Uncertainty
) -> None:
    """To first order the variance is the sum of (slope x deviation)^2."""
    from pyrobal.studies.tangent import tangent

    key = "smelting.oxygen.demand"
    base = with_deportment(stated.inputs)
    parts = [s for source in usual_draws.sources for s in source.spreads]
    slopes = tangent(base, [s.variable for s in parts], [key]).slopes[0, :, 0]
    deviation = (
        float(np.sqrt(sum((m * s.width) ** 2 for m, s in zip(slopes, parts, strict=True)))) / 44.615 * 3600
    )
    assert usual_draws.scatter[key].deviation == pytest.approx(deviation, rel=0.03)


def test_the_precision_spreads_a_reading(stated: Case, usual_draws: Uncertainty) -> None:
    """Copper of the blend, sum(r x) / sum(r): to first order its variance is the sum over concentrates of
    (r / R * s_x)^2 + ((x - mean) / R * s_r)^2; rates by the usual 0.5 %."""
    blend = stated.inputs.concentrate
    rate, copper = (
        np.array([float(v[0]) for v in x]) for x in ([c.rate for c in blend], [c.assay["Cu"] for c in blend])
    )
    deviation = np.array([0.001, *(0.003 * copper[1:])])
    mean = (rate * copper).sum() / rate.sum()
    variance = ((rate * deviation) ** 2 + ((copper - mean) * 0.005 * rate) ** 2).sum() / rate.sum() ** 2
    assert usual_draws.scatter["feed.assay.Cu"].deviation == pytest.approx(100 * np.sqrt(variance), rel=0.03)


def test_the_chance_of_breaking_a_limit(case: Case) -> None:
    """Of a normal reading it is that of the normal distribution; the interval is Wilson's as scipy has it."""
    stated = spreads(case, {"concentrate.Fenholt.rate": "+-1 t/h"})
    bound = limits(case, ["feed.dry_rate <= 111 t/h"])
    risk = uncertainty(case, ["feed.dry_rate"], stated, bound, only_stated=True, samples=1024).risks[0]
    assert risk.chance == pytest.approx(scipy.stats.norm.sf(1.0), abs=0.005)
    values = np.array([112.0] * 7 + [100.0] * 93)
    theirs = scipy.stats.binomtest(7, 100).proportion_ci(method="wilson")
    mine = _risk(bound[0], values)
    assert (mine.low, mine.high) == pytest.approx((theirs.low, theirs.high), rel=1e-6)


def test_seed_and_executor(case: Case) -> None:
    first = uncertainty(case, ["smelting.fuel_heat"], samples=32, seed=5)
    again = uncertainty(case, ["smelting.fuel_heat"], samples=32, seed=5)
    other = uncertainty(case, ["smelting.fuel_heat"], samples=32, seed=6)
    with ThreadPoolExecutor(2) as pool:
        shared = uncertainty(case, ["smelting.fuel_heat"], samples=32, seed=5, executor=pool)
    assert first.scatter == again.scatter == shared.scatter != other.scatter


def test_what_is_stated_takes_the_place_of_the_usual(case: Case) -> None:
    stated = spreads(case, {"concentrate.Fenholt.assay.Cu": "27:29 %", "smelting.heat_loss": "+-3 MW"})
    found = uncertainty(case, ["smelting.fuel_heat"], stated, samples=16)
    keys = [s.variable.key for source in found.sources for s in source.spreads]
    assert len(keys) == len(set(keys))
    assert [source.name for source in found.sources[:2]] == [source.name for source in stated]
    assert found.sources[-1].name == ENTHALPIES


def test_draws_without_an_answer_are_counted(case: Case) -> None:
    stated = spreads(case, {"smelting.matte_grade": "60:85 %"})
    found = uncertainty(case, ["smelting.fuel_heat"], stated, only_stated=True, samples=64)
    assert 0 < found.unsolved < found.draws
    assert np.isfinite(found.scatter["smelting.fuel_heat"].mean)


def test_what_is_wrong_is_said(case: Case) -> None:
    with pytest.raises(CaseError, match="nothing is varied"):
        uncertainty(case, ["smelting.fuel_heat"], only_stated=True)
    with pytest.raises(CaseError, match="--samples"):
        uncertainty(case, ["smelting.fuel_heat"], samples=1)


# Formation enthalpies -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["skerry_point", "gannet_rock", "brae_fell", "marram_sound", "thrift_ness"])
def test_what_is_formed_balances_but_for_the_fuel(name: str) -> None:
    """So no stream of the furnace is forgotten."""
    results = solved(name)
    made = formed(results)
    fuel = results.smelting.ledger.inputs["fuel"].elements
    total = sum(amount[:, None] * species(compound).composition for compound, amount in made.items())
    turned_over = results.smelting.ledger.elements_in()
    gap = np.abs(total - fuel)[:, : len(ELEMENTS)]
    assert (gap <= 1e-9 * np.maximum(turned_over, 1e-3)).all()


def test_an_error_of_a_formation_enthalpy_is_an_error_of_the_heat() -> None:
    """Chalcopyrite 1 kJ/mol less stable in the tables: the furnace has as much more heat as it uses up moles."""
    code = f"""
import dataclasses, sys
from pyrobal.thermo import tables
if sys.argv[1] == "off":
    known = tables.load_substances()
    s = known["CuFeS2"]
    higher = [dataclasses.replace(x, curve=dataclasses.replace(x.curve, h=x.curve.h + 1000.0)) for x in s.segments]
    known["CuFeS2"] = dataclasses.replace(s, segments=tuple(higher), H298=s.H298 + 1000.0)
from pyrobal.case.load import load_case
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.enthalpies import formed
r = solve(load_case({str(ROOT / "cases" / "gannet_rock.toml")!r}).inputs)
print(repr(float(r.smelting.heat.surplus[0])), repr(float(formed(r)["CuFeS2"][0])))
"""
    runs = [
        subprocess.run(
            [sys.executable, "-c", code, how], capture_output=True, text=True, check=True, cwd=ROOT
        )
        for how in ("as is", "off")
    ]
    (surplus, made), (higher, _) = ([float(x) for x in run.stdout.split()] for run in runs)
    assert made < 0
    assert higher - surplus == pytest.approx(-1000.0 * made, rel=1e-6)


def test_the_heat_error_is_made_of_its_compounds(case: Case) -> None:
    results = solve(case.inputs)
    parts = contributions(results)
    assert heat_error(results)[0] == pytest.approx(np.sqrt(sum(float(x[0]) ** 2 for x in parts.values())))
    assert parts["O2(g)"][0] == 0.0
    made, uncertainty_ = formed(results)["CuFeS2"][0], 4800.0  # J/mol as the tables state it
    assert parts["CuFeS2"][0] == pytest.approx(abs(made) * uncertainty_)
    assert 0.1e6 < heat_error(results)[0] < 3e6


# Command ------------------------------------------------------------------------------------------------


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    line = ["uncertainty", str(SKERRY), "--read", "smelting.fuel_heat", "--samples", "32"]
    assert main([*line, "--limit", "smelting.fuel_heat<=4 MW", "--vary", "smelting.heat_loss=+-1 MW"]) == 0
    out, err = capsys.readouterr()
    assert all(len(row) <= 80 for row in out.splitlines())
    assert "chance of breaking smelting.fuel_heat <= 4 MW" in out
    assert "formation enthalpies" in out
    assert "smelting.heat_loss +-1 MW" in out
    assert "64 draws of 32 samples, seed 1" in err
    assert main([*line, "--vary", "smelting.heat_loss"]) == 2
    assert main([*line, "--samples", "0"]) == 2
    assert main([*line, "--only"]) == 2


def test_what_the_percentiles_leave_out_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """A spread cut at the ends of its setting's range, and draws without an answer."""
    line = ["uncertainty", str(SKERRY), "--read", "smelting.fuel_heat", "--samples", "16", "--only"]
    assert main([*line, "--vary", "smelting.enrichment=+-80 %"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    low, high = scipy.stats.norm(0.55, 0.8).cdf([0.15, 1.0])
    cut = f"{100 * (low + 1 - high):.2g} % of it is cut off"
    assert f"+-80 vol% (none below 15 vol% or above 100 vol%: {cut})" in out
    assert "of draws with a solution only" in out
    assert main([*line, "--vary", "smelting.enrichment=+-1 %"]) == 0
    out = capsys.readouterr().out
    assert "cut off" not in out and "draws with a solution" not in out


def test_the_precision_a_case_states_takes_the_place_of_the_usual(case: Case, stated: Case) -> None:
    before, after = (
        {s.variable.key: s.width for source in usual(c.inputs) for s in source.spreads}
        for c in (case, stated)
    )
    lines = "concentrate.Fenholt.assay."
    assert after[f"{lines}Cu"] == pytest.approx(0.001)  # 0.1 wt%
    assert after[f"{lines}Fe"] == pytest.approx(0.02 * 0.276)
    others = before.keys() - {f"{lines}Cu", f"{lines}Fe"}
    assert {key: after[key] for key in others} == {key: before[key] for key in others}


def test_a_balance_makes_no_use_of_the_precision(
    case: Case, stated: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for key in ("smelting.heat.surplus", "smelting.matte.rate"):
        assert measured(solve(case.inputs), key)[0] == measured(solve(stated.inputs), key)[0]
    file = tmp_path / "stated.toml"
    file.write_text(stated.text)
    assert main(["check", str(file)]) == 0
    assert "concentrate.Fenholt.precision: for pyrobal uncertainty" in capsys.readouterr().out
