"""Readings of slag cleaning, anode furnace and electrorefining: finite, in house units, true to the streams."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from slags import BLISTER, COKE, GAS, OIL, SITE, SMELTING_SLAG, melt

from pyrobal.plant import anode_furnace, electrorefining, slag_cleaning
from pyrobal.readings import anode
from pyrobal.readings import electrorefining as electrorefining_readings
from pyrobal.readings import slag_cleaning as cleaning_readings
from pyrobal.readings.reading import Reading
from pyrobal.units import SPELLINGS

SLAGS = {"smelting_slag": melt(SMELTING_SLAG)}
READINGS = (*cleaning_readings.READINGS, *anode.READINGS, *electrorefining_readings.READINGS)


def results(kind: str = "electric_furnace") -> Any:
    """What the readings see of a solved plant."""
    s = slag_cleaning.SlagCleaningSettings(kind=kind)
    furnace = anode_furnace.AnodeFurnaceSettings()
    cast = anode_furnace.solve(melt(BLISTER, T=1480.0), None, SITE, furnace, GAS, OIL)
    return SimpleNamespace(
        slag_cleaning=slag_cleaning.solve(SLAGS, SITE, s, COKE),
        anode_furnace=cast,
        electrorefining=electrorefining.solve(cast.anodes, electrorefining.ElectrorefiningSettings()),
    )


def values(r: Any) -> dict[str, float]:
    found: dict[str, float] = {}
    for reading in READINGS:
        if not reading.present(r):
            continue
        members = reading.members(r) if reading.members else [""]
        for member in members:
            value = reading.compute(r, member) if member else reading.compute(r)
            found[reading.key.replace("<X>", member)] = float(np.asarray(value)[0])
    return found


@pytest.mark.parametrize("kind", ["electric_furnace", "flotation", "none"])
def test_every_reading_that_is_present_has_a_value(kind: str) -> None:
    found = values(results(kind))
    assert np.isfinite(list(found.values())).all()
    assert ("slag_cleaning.matte.grade" in found) == (kind == "electric_furnace")
    assert ("slag_cleaning.concentrate.grade" in found) == (kind == "flotation")


def test_a_case_without_the_steps_has_no_such_readings() -> None:
    bare = SimpleNamespace(slag_cleaning=None, anode_furnace=None, electrorefining=None)
    assert not any(reading.present(bare) for reading in READINGS)  # type: ignore[arg-type]


@pytest.mark.parametrize("reading", READINGS, ids=lambda r: r.key)
def test_units_and_words(reading: Reading) -> None:
    assert set(reading.unit_text.split(" or ")) <= set(SPELLINGS)
    assert reading.meaning
    assert sum(other.key == reading.key for other in READINGS) == 1


@pytest.mark.parametrize("step", ["slag_cleaning", "anode"])
def test_heat_in_is_heat_out(step: str) -> None:
    found = values(results())
    into = sum(x for key, x in found.items() if key.startswith(f"{step}.heat.in."))
    out = sum(x for key, x in found.items() if key.startswith(f"{step}.heat.out."))
    assert into == pytest.approx(out + found[f"{step}.heat.surplus"], rel=1e-9)


def test_assays_add_up() -> None:
    found = values(results())
    for prefix in ("anode.assay.", "electrorefining.slimes.assay.", "slag_cleaning.matte.assay."):
        assert sum(x for key, x in found.items() if key.startswith(prefix)) == pytest.approx(1.0, rel=1e-9)


def test_fuels_are_told_in_their_own_unit() -> None:
    r, unit = results(), {reading.key: reading for reading in READINGS}
    assert unit["anode.reductant"].unit_for(r) == "Nm3/h"
    assert unit["anode.fuel"].unit_for(r) == "t/h"
    assert unit["slag_cleaning.reductant"].unit_for(r) == "t/h"


def test_readings_are_those_of_the_streams() -> None:
    r = results()
    found = values(r)
    assert found["anode.per_hour"] * found["anode.mass"] == pytest.approx(found["anode.rate"], rel=1e-12)
    assert found["slag_cleaning.energy_per_tonne"] * found["slag_cleaning.fed"] == pytest.approx(
        found["slag_cleaning.power"], rel=1e-12
    )
    silver = found["electrorefining.slimes.assay.Ag"] * found["electrorefining.slimes.rate"]
    assert found["electrorefining.slimes.silver"] == pytest.approx(silver, rel=1e-12)
    carbon = r.slag_cleaning.gas.element("C")[0] - r.slag_cleaning.air.element("C")[0]
    assert found["slag_cleaning.co2"] == pytest.approx(carbon * 0.044009, rel=1e-4)


def test_what_is_fired_stands_beside_its_fuel_in_the_heat_balance() -> None:
    """A burner that heats the furnace is not nothing: 0 MW beside 11 MW fired reads as a mistake."""
    found = values(results())
    assert found["anode.heat.in.fuel"] == pytest.approx(found["anode.fuel_heat"], rel=1e-12)
    blown = found["anode.reductant_energy"] * found["anode.cast"]
    assert found["anode.heat.in.reductant"] == pytest.approx(blown, rel=1e-12)
    coke = found["slag_cleaning.reductant"] * float(results().slag_cleaning.unit_reductant.heating_value[0])
    assert found["slag_cleaning.heat.in.reductant"] == pytest.approx(coke, rel=1e-12) != 0.0
