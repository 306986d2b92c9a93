"""Reconciliation against its published examples, and its Gauss-Newton core against certified regressions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
from checks import Check

from pyrobal.numerics.gross_errors import Linear, cells, columns, correlation, global_test, sidak, suspects
from pyrobal.numerics.reconcile import Block, Measurement, Point, Reconciled, reconcile

TOPIC = "Reconciliation of measurements"
VDI = "VDI 2048 Part 1, example, as two open test suites carry it"
NIST = "NIST StRD, nonlinear regression, certified values"
HALF = 1.96  # half-width of the 95 % range over the standard deviation, as VDI 2048 has it

Equations = Callable[[Any, Any], Any]


def derivative(f: Callable[[Any], Any], at: np.ndarray) -> np.ndarray:
    """(m, n) by the complex step."""
    step = 1e-30
    return np.column_stack([np.imag(f(at + 1j * step * unit)) / step for unit in np.eye(len(at))])


class Stated:
    """One block of equations g(x, u) = 0, whose unmeasured quantities are its own unknowns."""

    def __init__(self, equations: Equations) -> None:
        self.equations = equations

    def points(self, x: Any, own: Any, _: Any) -> list[Point]:
        return [Point(x[0], own[0], self.equations(x[0], own[0]))]

    def blocks(self, points: Any, _: Any) -> list[Block]:
        x, u, m = points[0].x, points[0].own, len(points[0].gap)
        A = derivative(lambda z: self.equations(z, u), x)
        B = derivative(lambda z: self.equations(x, z), u) if len(u) else np.zeros((m, 0))
        return [Block(points[0], A, B, np.zeros((m, 0)))]


def solved(
    value: Sequence[float], covariance: np.ndarray, equations: Equations, start: Sequence[float] = ()
) -> Reconciled:
    """The answer of one block."""
    measured = [Measurement(np.array(value, dtype=float), covariance)]
    found = reconcile(measured, Stated(equations), [np.array(start, dtype=float)], np.zeros(0))
    assert found is not None and found.settled
    return found


def balances(text: str, n: int) -> np.ndarray:
    """ "1=2+3" for each node, as rows of a matrix."""
    rows = np.zeros((len(text.split()), n))
    for row, node in zip(rows, text.split(), strict=True):
        for side, sign in zip(node.split("="), (1.0, -1.0), strict=True):
            for name in side.split("+"):
                row[int(name) - 1] += sign
    return rows


# --- VDI 2048 ---------------------------------------------------------------------------------------------
VDI_NAMES = ("FDKeI", "FDKeII", "SpI", "SpII", "V", "HK", "A7", "A6", "A5", "HDNK", "D")
VDI_VALUES = (46.241, 45.668, 44.575, 44.319, 0.525, 69.978, 10.364, 3.744, 4.391, 18.498, 2.092)
VDI_HALF = (0.800, 0.790, 0.535, 0.532, 0.105, 0.854, 0.168, 0.058, 0.058, 0.205, 0.272)
VDI_RECONCILED = (44.964489, 44.417972, 44.925904, 44.667096, 0.526348, 70.553061, 10.375783, 3.745404, 4.392404, 18.513592, 2.092)  # fmt: skip
VDI_AFTER = (0.575627, 0.572818, 0.404463, 0.402919, 0.104623, 0.559873, 0.133003, 0.056695, 0.056695, 0.137103, 0.272)  # fmt: skip
VDI_SCORES = (4.503, 4.503, 1.964, 1.964, 0.297, 1.748, 0.225, 0.225, 0.225, 0.201)
VDI_WIDE = (44.695957, 44.122957, 44.642627, 44.386086, 0.524499, 70.004962, 10.364203, 3.744024, 4.391024, 18.499251)  # fmt: skip


def vdi(half: Sequence[float]) -> Linear:
    nodes = np.zeros((3, 11))
    nodes[0, [0, 1, 2, 3, 4]] = 1, 1, -1, -1, 0.4
    nodes[1, [2, 3, 4, 5, 6, 7, 8]] = 1, 1, -1, -1, -1, -1, -1
    nodes[2, [6, 7, 8, 9]] = 1, 1, 1, -1
    correlation = np.eye(11)
    correlation[0, 1] = correlation[1, 0] = 0.2
    correlation[2, 3] = correlation[3, 2] = 0.4
    sigma = np.array(half) / HALF
    return Linear.at(solved(VDI_VALUES, correlation * np.outer(sigma, sigma), lambda x, u: nodes @ x))


def vdi_rows() -> list[Check]:
    linear = vdi(VDI_HALF)
    moved, spread = linear.adjustments(0)
    after = HALF * np.sqrt(np.diag(linear.measured[0].covariance - spread))
    rows = []
    for i, name in enumerate(VDI_NAMES):
        rows.append(
            row(
                f"{name} reconciled",
                VDI,
                VDI_RECONCILED[i],
                linear.blocks[0].x[i],
                "kg/s",
                1e-6,
                "the printed digits",
            )
        )
        rows.append(
            row(f"{name} half-width after", VDI, VDI_AFTER[i], after[i], "kg/s", 1e-6, "the printed digits")
        )
    for i, score in enumerate(VDI_SCORES):
        rows.append(row(f"{VDI_NAMES[i]} adjustment over its deviation", VDI, score, abs(moved[i]) / np.sqrt(spread[i, i]), "-", 6e-4, "the printed digits"))  # fmt: skip
    rows.append(
        row("global statistic", VDI, 20.3096, global_test(linear).statistic, "-", 6e-5, "the printed digits")
    )
    rows.append(
        row(
            "limit of the global test", VDI, 7.815, global_test(linear).limit, "-", 6e-4, "the printed digits"
        )
    )
    wide = vdi((2.5, 2.5, *VDI_HALF[2:]))
    rows.append(
        row(
            "global statistic, widened",
            VDI,
            2.5370,
            global_test(wide).statistic,
            "-",
            6e-5,
            "the printed digits",
        )
    )
    for i, value in enumerate(VDI_WIDE):
        rows.append(
            row(
                f"{VDI_NAMES[i]} reconciled, widened",
                VDI,
                value,
                wide.blocks[0].x[i],
                "kg/s",
                1e-6,
                "the printed digits",
            )
        )
    return rows


def row(
    what: str, source: str, published: float, computed: float, unit: str, tolerance: float, why: str
) -> Check:
    return Check(TOPIC, what, source, published, float(computed), unit, tolerance, why)


def test_vdi_suspects_the_two_feed_waters_and_passes_when_widened():
    linear = vdi(VDI_HALF)
    assert global_test(linear).freedom == 3 and not global_test(linear).passes
    found, left = suspects(linear, *single(linear))
    assert found[0].alike == (0, 1)  # nothing tells them apart
    assert global_test(left).passes
    assert global_test(vdi((2.5, 2.5, *VDI_HALF[2:]))).passes


def test_what_nothing_checks_keeps_its_value_and_its_error():
    linear = vdi(VDI_HALF)
    _, f = linear.scores([d for _, _, d in cells(linear)])
    assert f[10] == pytest.approx(0.0, abs=1e-12) and (f[:10] > 1e-3).all()


def single(linear: Linear) -> tuple[list[Any], np.ndarray, np.ndarray]:
    """Candidates: an error in each measurement of the one block."""
    found = [d for _, _, d in cells(linear)]
    return found, np.zeros(len(found), dtype=int), linear.measured[0].deviation


# --- Heat exchanger with a bypass -------------------------------------------------------------------------
BYPASS = "Narasimhan & Jordache 2000, ch. 1; from memory, recomputed"
BYPASS_NODES = "1=2+3 2=4 3=5 4+5=6"


def bypass_rows() -> list[Check]:
    nodes = balances(BYPASS_NODES, 6)
    found = solved((101.91, 64.45, 34.65, 64.20, 36.44, 98.88), np.eye(6), lambda x, u: nodes @ x)
    published = (100.22, 64.50, 35.72, 64.50, 35.72, 100.22)
    return [
        row(f"bypassed exchanger, flow {i + 1}", BYPASS, p, x, "-", 5.1e-3, "the printed digits")
        for i, (p, x) in enumerate(zip(published, found.blocks[0].x, strict=True))
    ]


def test_unmeasured_flows_follow_and_one_of_the_measured_is_not_checked():
    nodes = balances(BYPASS_NODES, 6)
    measured, missing = [0, 1, 5], [2, 3, 4]
    found = solved(
        (101.91, 64.45, 98.88),
        np.eye(3),
        lambda x, u: nodes[:, measured] @ x + nodes[:, missing] @ u,
        (0, 0, 0),
    )
    linear = Linear.at(found)
    assert linear.freedom == 1
    redundancy = np.diag(linear.adjustments(0)[1])
    assert redundancy == pytest.approx([0.5, 0.0, 0.5], abs=1e-9)
    assert found.blocks[0].own == pytest.approx([100.395 - 64.45, 64.45, 100.395 - 64.45], abs=1e-6)


# --- Pai & Fisher -----------------------------------------------------------------------------------------
PAI = "Pai & Fisher 1988, AIChE J. 34, 873-876"


def pai_fisher(x: Any, u: Any) -> Any:
    return np.array([
        0.5 * x[0] ** 2 - 0.7 * x[1] + x[2] * u[0] + x[1] ** 2 * u[0] * u[1] + 2 * x[2] * u[2] ** 2 - 255.8,
        x[0] - 2 * x[1] + 3 * x[0] * x[2] - 2 * x[1] * u[0] - x[1] * u[1] * u[2] + 111.2,
        x[2] * u[0] - x[0] + 3 * x[1] + x[0] * u[1] - x[2] * np.sqrt(u[2]) - 33.57,
        x[3] - x[0] - x[2] ** 2 + u[1] + 3 * u[2],
        x[4] - 2 * x[2] * u[1] * u[2],
        2 * x[0] + x[1] * x[2] * u[0] + u[1] - u[2] - 126.6,
    ])  # fmt: skip


def pai_rows() -> list[Check]:
    found = solved((4.4, 5.5, 1.7, 1.6, 5.0), np.eye(5), pai_fisher, (11.0, 1.0, 2.0))
    published = (4.5124, 5.5819, 1.9260, 1.4560, 4.8545, 11.070, 0.61467, 2.0504)
    names = [*(f"x{i}" for i in range(1, 6)), *(f"u{i}" for i in range(1, 4))]
    slack = [5.1e-5] * 5 + [5.1e-4, 5.1e-6, 5.1e-5]
    return [
        row(f"nonlinear network, {n}", PAI, p, v, "-", s, "the printed digits")
        for n, p, v, s in zip(
            names, published, [*found.blocks[0].x, *found.blocks[0].own], slack, strict=True
        )
    ] + [
        row(
            "nonlinear network, objective",
            f"{PAI}, recomputed",
            0.112297,
            Linear.at(found).statistic,
            "-",
            1e-6,
            "the printed digits",
        )
    ]


# --- Yang, Teng & Jiao ------------------------------------------------------------------------------------
YANG = "Yang, Teng & Jiao 1995, Comput. Chem. Eng. 19S, S217, recomputed"


def yang() -> Linear:
    nodes = balances("1=2+7 2+8=3 3+4=5 7=6+8", 8)
    variances = (3.234, 1.803, 1.665, 0.999, 3.129, 0.418, 3.228, 1.623)
    values = (110.1, 41.1, 79, 30.6, 108.3, 19.8, 55, 39)
    return Linear.at(solved(values, np.diag(variances), lambda x, u: nodes @ x))


def yang_rows() -> list[Check]:
    linear = yang()
    moved, spread = linear.adjustments(0)
    values = (101.3391, 42.5291, 80.9, 29.8256, 110.7256, 20.439, 58.8099, 38.3709)
    scores = (5.673, 1.535, 1.93, 1.727, 1.727, 2.523, 2.516, 0.695)
    rows = [
        row("eight flows, global statistic", YANG, 35.2327, linear.statistic, "-", 6e-5, "the printed digits")
    ]
    for i in range(8):
        rows.append(
            row(
                f"eight flows, flow {i + 1}",
                YANG,
                values[i],
                linear.blocks[0].x[i],
                "-",
                6e-5,
                "the printed digits",
            )
        )
        rows.append(
            row(
                f"eight flows, score {i + 1}",
                YANG,
                scores[i],
                abs(moved[i]) / np.sqrt(spread[i, i]),
                "-",
                6e-4,
                "the printed digits",
            )
        )
    return rows


def test_the_gross_error_is_found():
    linear = yang()
    assert linear.freedom == 4 and not global_test(linear).passes
    found, left = suspects(linear, *single(linear))
    assert [one.which for one in found] == [0] and found[0].alike == (0,)
    assert global_test(left).passes


# --- Mitsas -----------------------------------------------------------------------------------------------
MITSAS = "Mitsas 2010, Measurement 43, 702, recomputed"


def mitsas() -> Linear:
    nodes = balances("1=2+3+4 2=5+6+7 3+5+6+7=8 4=9+10 8+9=11 10+11=12", 12)
    sigma = np.array([1, 0.3, 0.4, 0.3, 0.3, 0.1, 0.2, 0.7, 0.3, 0.4, 0.8, 1])
    values = (100.49, 29.46, 40.41, 30.05, 15.17, 4.98, 9.92, 70.68, 10.03, 19.82, 81.06, 101.57)
    return Linear.at(solved(values, np.diag(sigma**2), lambda x, u: nodes @ x))


def mitsas_rows() -> list[Check]:
    linear = mitsas()
    after = np.sqrt(np.diag(linear.measured[0].covariance - linear.adjustments(0)[1]))
    values = (
        100.582,
        29.8012,
        40.7095,
        30.0714,
        14.9972,
        4.9608,
        9.8432,
        70.5107,
        10.146,
        19.9254,
        80.6567,
        100.582,
    )
    sigma = (
        0.36414,
        0.21788,
        0.31248,
        0.24491,
        0.22751,
        0.09761,
        0.18013,
        0.32002,
        0.24677,
        0.28071,
        0.36954,
        0.36414,
    )
    rows = [
        row(
            "twelve flows, global statistic",
            MITSAS,
            3.8913,
            linear.statistic,
            "-",
            6e-5,
            "the printed digits",
        )
    ]
    for i in range(12):
        rows.append(
            row(
                f"twelve flows, flow {i + 1}",
                MITSAS,
                values[i],
                linear.blocks[0].x[i],
                "-",
                6e-4,
                "the printed digits",
            )
        )
        rows.append(
            row(
                f"twelve flows, deviation {i + 1}",
                MITSAS,
                sigma[i],
                after[i],
                "-",
                6e-6,
                "the printed digits",
            )
        )
    return rows


def test_three_that_cannot_be_told_apart_are_named_together():
    linear = mitsas()
    assert linear.freedom == 6 and global_test(linear).passes
    directions = single(linear)[0]
    same = np.abs(correlation(linear.overlaps(directions))[4]) > 0.999
    assert np.flatnonzero(same).tolist() == [4, 5, 6]
    moved, spread = linear.adjustments(0)
    assert np.abs(moved[4:7]) / np.sqrt(np.diag(spread)[4:7]) == pytest.approx([0.884] * 3, abs=6e-4)


# --- NIST StRD --------------------------------------------------------------------------------------------
MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
MGH09_X = [4, 2, 1, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625]
MGH09_Y = [0.1957, 0.1947, 0.1735, 0.16, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246]
THURBER_X = [
    -3.067, -2.981, -2.921, -2.912, -2.84, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322,
    -1.501, -1.46, -1.274, -1.212, -1.1, -1.046, -0.915, -0.714, -0.566, -0.545, -0.4, -0.309, -0.109,
    -0.103, 0.01, 0.119, 0.377, 0.79, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.2
]  # fmt: skip
THURBER_Y = [
    80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.06,
    401.672, 390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914,
    1122.643, 1178.351, 1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384,
    1442.962, 1464.350, 1468.705, 1447.894, 1457.628
]  # fmt: skip


def misra1a(b: Any, x: Any) -> Any:
    return b[0] * (1.0 - np.exp(-b[1] * x))


def mgh09(b: Any, x: Any) -> Any:
    return b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3])


def thurber(b: Any, x: Any) -> Any:
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


# name -> function, x, y, the two starts, certified values, certified deviations
CERTIFIED: dict[str, Any] = {
    "Misra1a": (
        misra1a, MISRA_X, MISRA_Y, [(500, 1e-4), (250, 5e-4)],
        (2.3894212918e2, 5.5015643181e-4), (2.7070075241e0, 7.2668688436e-6),
    ),
    "MGH09": (
        mgh09, MGH09_X, MGH09_Y, [(25, 39, 41.5, 39), (0.25, 0.39, 0.415, 0.39)],
        (1.9280693458e-1, 1.9128232873e-1, 1.2305650693e-1, 1.3606233068e-1),
        (1.1435312227e-2, 1.9633220911e-1, 8.0842031232e-2, 9.0025542308e-2),
    ),
    "Thurber": (
        thurber, THURBER_X, THURBER_Y,
        [(1000, 1000, 400, 40, 0.7, 0.3, 0.03), (1300, 1500, 500, 75, 1, 0.4, 0.05)],
        (1.2881396800e3, 1.4910792535e3, 5.8323836877e2, 7.5416644291e1, 9.6629502864e-1, 3.9797285797e-1, 4.9727297349e-2),
        (4.6647963344e0, 3.9571156086e1, 2.8698696102e1, 5.5675370270e0, 3.1333340687e-2, 1.4984928198e-2, 6.5842344623e-3),
    ),
}  # fmt: skip


class Curve:
    """y = f(b, x) with every parameter shared; each point is put on the curve."""

    def __init__(self, function: Any, x: np.ndarray) -> None:
        self.function, self.x = function, x

    def points(self, _: Any, own: Any, b: Any) -> list[Point]:
        return [Point(self.function(b, self.x), own[0], np.zeros(len(self.x)))]

    def blocks(self, points: Any, b: Any) -> list[Block]:
        n = len(self.x)
        slopes = -derivative(lambda z: self.function(z, self.x), b)
        return [Block(points[0], np.eye(n), np.zeros((n, 0)), slopes)]


def regression(name: str, start: int) -> tuple[np.ndarray, np.ndarray]:
    """Parameters and their deviations, scaled by the residuals as a regression has them."""
    function, x, y, starts, _, _ = CERTIFIED[name]
    x, y = np.array(x, dtype=float), np.array(y, dtype=float)

    measured = [Measurement(y, np.eye(len(y)))]
    found = reconcile(measured, Curve(function, x), [np.zeros(0)], np.array(starts[start], dtype=float))
    assert found is not None and found.settled, found
    linear = Linear.at(found)
    return found.shared, np.sqrt(np.diag(linear.covariance) * linear.statistic / linear.freedom)


def nist_rows() -> list[Check]:
    rows = []
    for name, (_, _, _, _, values, deviations) in CERTIFIED.items():
        b, sd = regression(name, 1)
        for i in range(len(values)):
            rows.append(
                row(
                    f"{name}, b{i + 1}",
                    NIST,
                    values[i],
                    b[i],
                    "-",
                    1e-6 * values[i],
                    "six digits of a fit that stops at 1e-7 of a deviation",
                )
            )
            rows.append(
                row(
                    f"{name}, deviation of b{i + 1}",
                    NIST,
                    deviations[i],
                    sd[i],
                    "-",
                    1e-5 * deviations[i],
                    "five digits; slopes move with the last step",
                )
            )
    return rows


@pytest.mark.parametrize("name", CERTIFIED)
def test_the_far_start_leads_to_the_certified_answer_too(name: str):
    assert regression(name, 0)[0] == pytest.approx(CERTIFIED[name][4], rel=1e-5)


CHECKS = [*vdi_rows(), *bypass_rows(), *pai_rows(), *yang_rows(), *mitsas_rows(), *nist_rows()]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: f"{c.what} [{c.source[:12]}]")
def test_published_value_is_met(check: Check):
    assert check.ok, str(check)


def test_sidak_limit():
    assert sidak(1) == pytest.approx(1.959964, abs=1e-6)
    assert sidak(11) == pytest.approx(2.8310, abs=2e-3)  # 1 - 0.95^(1/11) = 0.004652, two-sided


class Nodes:
    """The same linear constraints in every block."""

    def __init__(self, matrix: np.ndarray) -> None:
        self.matrix = matrix

    def points(self, x: Any, own: Any, _: Any) -> list[Point]:
        return [Point(p, o, self.matrix @ p) for p, o in zip(x, own, strict=True)]

    def blocks(self, points: Any, _: Any) -> list[Block]:
        none = np.zeros((len(self.matrix), 0))
        return [Block(point, self.matrix, none, none) for point in points]


def test_a_bias_that_stands_is_found_over_the_blocks():
    nodes = balances("1=2+7 2+8=3 3+4=5 7=6+8", 8)
    truth = np.array([100, 42, 81, 30, 111, 19, 58, 39.0])
    sigma = np.full(8, 1.0)
    rng = np.random.default_rng(3)
    values = truth + rng.normal(size=(20, 8)) * sigma
    values[:, 6] += 2.0

    found = reconcile(
        [Measurement(v, np.eye(8)) for v in values], Nodes(nodes), [np.zeros(0)] * 20, np.zeros(0)
    )
    assert found is not None
    linear = Linear.at(found)
    directions = columns(linear, [list(range(8))] * 20)
    errors, _ = suspects(linear, directions, np.zeros(8, dtype=int), sigma)
    assert [e.which for e in errors] == [6]
    assert abs(errors[0].size - 2.0) < 3 * errors[0].deviation < 1.5
