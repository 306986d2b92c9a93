"""What is foreseen to come back, against circuits whose steps hand on fixed shares."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.arrays import Floats
from pyrobal.flowsheet.foresight import foreseen
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

MELT = species("Cu(l)", "Bi(l)")
WAYS = {"slag": ("converter", "furnace"), "scrap": ("converter", "converter")}


def _stream(copper: Floats, bismuth: Floats) -> Stream:
    return Stream(MELT, np.stack([copper, bismuth], axis=1), np.full(len(copper), 1500.0))


def _pass(fresh: Floats, sent: dict[str, Stream]) -> tuple[dict[str, Floats], Stream, dict[str, Stream]]:
    """A furnace that hands on (0.9, 0.6) of copper and bismuth; a converter that puts back (0.1, 0.5) as slag
    and (0.2, 0.4) as scrap."""
    furnace = fresh + (sent["slag"].n if sent else 0.0)
    matte = furnace * np.array([0.9, 0.6])
    converter = matte + (sent["scrap"].n if sent else 0.0)
    taken = {"furnace": furnace @ MELT.composition, "converter": converter @ MELT.composition}
    back = {"slag": np.array([0.1, 0.5]), "scrap": np.array([0.2, 0.4])}
    return taken, _stream(*matte.T), {name: _stream(*(converter * s).T) for name, s in back.items()}


def _foreseen(fresh: Floats, sent: dict[str, Stream]) -> dict[str, Stream]:
    taken, matte, came = _pass(fresh, sent)
    return foreseen(taken, {("furnace", "converter"): matte}, WAYS, sent, came)


FRESH = np.array([[100.0, 3.0], [50.0, 0.0]])


@pytest.mark.parametrize("empty", [True, False])
def test_fixed_shares_are_foreseen_in_one_pass(empty: bool) -> None:
    """By hand: converter = (0.9 fresh) / (1 - 0.2 - 0.9 x 0.1), and with bismuth 0.6 / (1 - 0.4 - 0.6 x 0.5)."""
    sent = {} if empty else {"slag": _stream(*FRESH.T), "scrap": _stream(*(0.1 * FRESH).T)}
    found = _foreseen(FRESH, sent)
    converter = FRESH * np.array([0.9 / 0.71, 0.6 / 0.3])
    np.testing.assert_allclose(found["slag"].n, converter * [0.1, 0.5], rtol=1e-7)
    np.testing.assert_allclose(found["scrap"].n, converter * [0.2, 0.4], rtol=1e-7)


def test_nothing_more_is_foreseen_where_nothing_has_changed() -> None:
    settled = _foreseen(FRESH, {})
    for _ in range(3):
        settled = _foreseen(FRESH, settled)
    _, _, came = _pass(FRESH, settled)
    again = _foreseen(FRESH, settled)
    for name, stream in came.items():
        np.testing.assert_allclose(stream.n, settled[name].n, rtol=1e-14)
        np.testing.assert_allclose(again[name].n, settled[name].n, rtol=1e-14)


def test_an_element_that_nothing_lets_out_grows_by_no_more_than_it_may() -> None:
    taken = {"furnace": FRESH @ MELT.composition}
    found = foreseen(taken, {}, {"dust": ("furnace", "furnace")}, {}, {"dust": _stream(*FRESH.T)})
    np.testing.assert_allclose(found["dust"].n, 4.0 * FRESH)


def test_a_derivative_rides_along() -> None:
    fresh = FRESH * (1.0 + 1e-20j)
    found = _foreseen(fresh, {})
    np.testing.assert_allclose(found["slag"].n.imag / 1e-20, found["slag"].n.real, rtol=1e-12)
