"""Every reading has a name that people say."""

from __future__ import annotations

import pytest
from demos import CASES, balanced

from pyrobal.report.labels import label


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.toml")))
def test_no_two_readings_are_called_alike_and_none_by_its_key(name: str) -> None:
    said: dict[str, str] = {}
    for line in balanced(name).lines:
        words = label(line.key)
        assert words == words.strip() and "_" not in words and "  " not in words, line.key
        assert "so2" not in words and "co2" not in words, words
        assert words not in said, (line.key, said.get(words))
        said[words] = line.key


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("smelting.gas.flow_wet", "smelting gas, wet"),
        ("smelting.matte.grade", "smelting matte grade"),
        ("smelting.slag.assay.Fe3O4", "smelting slag Fe3O4"),
        ("smelting.oxygen.industrial", "smelting industrial oxygen"),
        ("deportment.As.slag_cleaning.slag", "As to slag cleaning slag"),
        ("limit.emissions.so2_stack_limit.use", "use of SO2 stack limit"),
        ("gas.furnace.cooler.temperature", "furnace gas after cooler temperature"),
        ("emissions.dust_per_t_cu", "emissions dust per tonne of copper"),
        ("smelting.heat.in.silica_flux", "smelting heat in: silica flux"),
    ],
)
def test_places_come_before_quantities(key: str, words: str) -> None:
    assert label(key) == words
