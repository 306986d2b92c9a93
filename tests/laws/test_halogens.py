"""Mercury, chlorine and fluorine: they go with the gas, take their hydrogen from its water, and close."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from demos import demo, solved
from plants import ORDINARY, plant

from pyrobal.constants import NM3
from pyrobal.errors import Reason
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import RevertSettings
from pyrobal.readings.messages import messages
from pyrobal.readings.registry import evaluate

TRACES = {"Hg": 1e-5, "Cl": 4e-4, "F": 6e-4}
WITHOUT = {name: x for name, x in ORDINARY.items() if name not in TRACES}


def test_furnace_gas_takes_them_up_as_hydrides_and_vapour() -> None:
    with_them, bare = solve(plant({**WITHOUT, **TRACES})), solve(plant(WITHOUT))
    gas, before = with_them.smelting.gas, bare.smelting.gas
    fed = 30.0 / np.array([0.200592, 0.03545, 0.018998403162]) * np.array(list(TRACES.values()))
    for name, n in zip(("Hg(g)", "HCl(g)", "HF(g)"), fed, strict=True):
        assert gas.amount(name)[0] == pytest.approx(n, rel=1e-9), name
    taken = before.amount("H2O(g)")[0] - gas.amount("H2O(g)")[0]
    assert taken == pytest.approx((fed[1] + fed[2]) / 2, rel=0.05)  # less air and flux with a little less ore
    assert np.abs(with_them.smelting.ledger.element_closure()).max() < 1e-9
    assert np.abs(with_them.smelting.ledger.heat_closure()).max() < 1e-9


def test_they_cost_the_furnace_little_heat() -> None:
    """By hand from formation enthalpies: F of CaF2 to HF with half a water, +145 kJ per mole of F."""
    settings = {"close_heat_with": "nothing", "enrichment": 0.5}
    with_them, bare = (solve(plant(assay, **settings)) for assay in ({**WITHOUT, "F": 6e-4}, WITHOUT))
    lost = bare.smelting.heat.surplus - with_them.smelting.heat.surplus
    moles = 30.0 * 6e-4 / 0.018998
    assert lost[0] / moles == pytest.approx(
        145e3, rel=0.25
    )  # and the rest of the ore it stands in for is less


def test_a_whole_plant_leaves_them_in_the_weak_acid() -> None:
    """Chlorine and fluorine go with the wash, mercury with half of it; the acid takes most of the rest."""
    sets = [f"concentrate.Fenholt.assay.{e}={100 * x}" for e, x in TRACES.items()]
    results = solved("marram_sound", *sets)
    assert results.solved.all()
    for element, name in (("Hg", "mercury"), ("Cl", "chlorine"), ("F", "fluorine")):
        fed = TRACES[element] * 55e3 / 3600
        share = 0.5 / 0.998 if element == "Hg" else 1.0
        assert evaluate(results, f"gas.weak_acid.{name}")[0] == pytest.approx(0.993 * share * fed, rel=3e-3)
        assert abs(results.ledger.closure(element)[0]) < 1e-9
    assert evaluate(results, "gas.mercury_passed")[0] > 0


def test_mercury_goes_to_acid_and_stack_unless_a_tower_takes_it() -> None:
    sets = [f"concentrate.Fenholt.assay.Hg={100 * TRACES['Hg']}"]
    plain = solved("marram_sound", *sets)
    tower = solved("marram_sound", *sets, "gas_train.mercury_tower=chloride_wash")
    fed = TRACES["Hg"] * 55e3 / 3600
    assert evaluate(plain, "gas.mercury_to_acid")[0] == pytest.approx(0.9 * 0.5 * fed, rel=0.02)
    assert evaluate(plain, "emissions.Hg_from.acid_plant")[0] == pytest.approx(0.1 * 0.5 * fed, rel=0.02)
    assert evaluate(tower, "gas.mercury_passed")[0] == pytest.approx(0.05e-6 / NM3, rel=1e-9)
    left = evaluate(tower, "gas.mercury_passed")[0] / evaluate(plain, "gas.mercury_passed")[0]
    assert left < 0.1
    for key in ("gas.mercury_to_acid", "emissions.Hg_from.acid_plant"):
        assert evaluate(tower, key)[0] == pytest.approx(left * evaluate(plain, key)[0], rel=1e-6)
    for r in (plain, tower):
        assert abs(r.ledger.closure("Hg")[0]) < 1e-9
        assert ("gas.weak_acid.mercury" in {m.key for m in messages(r)}) == (r is plain)


def test_reverts_to_a_converter_bring_them_into_its_gas() -> None:
    inputs = demo("marram_sound").inputs
    (skulls,) = inputs.revert
    traces = {e: np.array([x]) for e, x in TRACES.items()}
    dirty = dataclasses.replace(skulls, assay={**skulls.assay, **traces})
    assert isinstance(dirty, RevertSettings)
    results = solve(dataclasses.replace(inputs, revert=(dirty,)))
    assert results.solved.all() and results.converting is not None
    for element in TRACES:
        assert results.converting.gas.element(element)[0] > 0
        assert abs(results.ledger.closure(element)[0]) < 1e-9


def test_more_halogen_than_the_gas_has_water_is_refused() -> None:
    lean = {**WITHOUT, "SiO2": 0.01, "Al2O3": 0.0, "Cl": np.array([4e-4, 0.06])}
    results = solve(plant(lean, heat_loss=1e6, air_in_leakage=0.0, enrichment=0.95))
    assert [Reason(int(x)) for x in results.reason] == [Reason.SOLVED, Reason.GAS_SHORT_OF_WATER]
