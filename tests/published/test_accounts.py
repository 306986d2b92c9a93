"""The month of 1908 of a reverberatory plant: what copper is missing, and where the evidence puts it."""

from __future__ import annotations

import numpy as np
import pytest
from checks import Check

from pyrobal.numerics.gross_errors import Linear, global_test, suspects
from pyrobal.numerics.reconcile import Block, Measurement, Point, reconcile
from pyrobal.studies.reconcile.accounts import Account, Line

TOPIC = "Accounts of a month's copper"
SOURCE = "Levy 1912, Modern Copper Smelting, tables VIII and XII"
# Short tons and % Cu, reverberatory furnaces, one month of 1908; masses are weighed, slag is by difference.
CHARGED = {
    "calcines and lime rock": (50054, 8.266), "roaster flue dust": (977, 7.884), "blast furnace flue dust": (1639, 5.698),
    "converter flue dust": (132, 68.743), "main flue dust": (1034, 7.128),
}  # fmt: skip
MADE = {"matte": (10950, 38.209), "matte chips": (74, 32.811), "slag chips": (609, 3.560)}
SLAG = 38538  # by difference of masses
SLAG_COPPER = (0.30, 0.35)  # its daily assays
# One standard deviation, relative, by common practice: weighed belts and cars, ladles counted, assays.
MASS, LADLES, ASSAY, SLAG_ASSAY = 0.01, 0.03, 0.01, 0.05


def month(slag_copper: float) -> Account:
    """The account of copper, in short tons of the month."""
    lines = [
        Line(n, 1, m * x / 100, m * x / 100 * np.hypot(MASS, ASSAY), 0.0, "both")
        for n, (m, x) in CHARGED.items()
    ]
    lines += [
        Line(n, -1, m * x / 100, m * x / 100 * np.hypot(LADLES, ASSAY), 0.0, "both")
        for n, (m, x) in MADE.items()
    ]
    slag = SLAG * slag_copper / 100
    return Account("Cu", (*lines, Line("slag", -1, slag, slag * np.hypot(LADLES, SLAG_ASSAY), 0.0, "both")))


def _checks() -> list[Check]:
    low, high = (month(x) for x in reversed(SLAG_COPPER))
    without = low.fed - low.unaccounted - SLAG * SLAG_COPPER[1] / 100
    rows = [
        ("copper charged", 4471.4, low.fed, "t", 1.0, "the printed rows themselves sum to 4472.3"),
        ("copper out but for the slag", 4229.9, without, "t", 0.5, "printed digits of the assays"),
        ("unaccounted, slag at 0.35 %", 107.0, low.unaccounted, "t", 1.0, "printed to a ton"),
        ("unaccounted, slag at 0.30 %", 126.0, high.unaccounted, "t", 1.0, "printed to a ton"),
        ("unaccounted, slag at 0.35 %, of the charge", 2.4, 100 * low.unaccounted / low.fed, "%", 0.05, "printed digits"),
        ("unaccounted, slag at 0.30 %, of the charge", 2.8, 100 * high.unaccounted / high.fed, "%", 0.05, "printed digits"),
    ]  # fmt: skip
    return [Check(TOPIC, what, SOURCE, *rest) for what, *rest in rows]


CHECKS = _checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_what_is_missing_is_found(check: Check):
    assert check.ok, str(check)


class Month:
    """Copper in is copper out: masses, then assays, of every stream."""

    def __init__(self, signs: np.ndarray) -> None:
        self.signs = signs

    def points(self, x, own, _):  # type: ignore[no-untyped-def]
        n = len(self.signs)
        return [Point(x[0], own[0], np.array([self.signs @ (x[0][:n] * x[0][n:])]))]

    def blocks(self, points, _):  # type: ignore[no-untyped-def]
        n, x, none = len(self.signs), points[0].x, np.zeros((1, 0))
        A = np.concatenate([self.signs * x[n:], self.signs * x[:n]])[None, :]
        return [Block(points[0], A, none, none)]


def test_it_is_put_where_the_evidence_allows():
    """One balance says that copper is missing, not where: all are equally suspect, and errors as usual explain it.

    So nothing is claimed, and the 117 tons go to the streams by their variances, most to the ladles of matte.
    """
    streams = [*CHARGED.values(), *MADE.values(), (SLAG, 0.325)]
    masses, shares = np.array(streams).T
    signs = np.array([1.0] * len(CHARGED) + [-1.0] * (len(MADE) + 1))
    mass_errors = np.array([MASS] * len(CHARGED) + [LADLES] * (len(MADE) + 1))
    share_errors = np.array([ASSAY] * (len(streams) - 1) + [SLAG_ASSAY])
    value = np.concatenate([masses, shares / 100])
    sigma = value * np.concatenate([mass_errors, share_errors])
    found = reconcile([Measurement(value, np.diag(sigma**2))], Month(signs), [np.zeros(0)], np.zeros(0))
    assert found is not None and found.settled
    linear = Linear.at(found)
    assert linear.freedom == 1 and global_test(linear).passes
    directions = [{0: linear.blocks[0].A[:, i]} for i in range(len(value))]
    assert suspects(linear, directions, np.zeros(len(value), dtype=int), sigma)[0] == []
    x, n = found.blocks[0].x, len(signs)
    moved = signs * (x[:n] * x[n:] - masses * shares / 100)
    assert np.argmax(np.abs(moved)) == len(CHARGED)  # matte
    assert moved.sum() == pytest.approx(-month(0.325).unaccounted, rel=1e-6)
    assert 0.6 < moved[len(CHARGED)] / moved.sum() < 0.9
