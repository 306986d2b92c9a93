"""A case file with some settings changed keeps everything else."""

from __future__ import annotations

import pytest

from pyrobal.case.tuned import Change, tuned

TEXT = """# a plant
title = "x"

[[concentrate]]
name = "Fenholt"     # the first
rate = "55 t/h"  # dry
[concentrate.assay]
Cu = 28.1

[smelting]
heat_loss = "14 MW"
dust = "6 %"
"""


def test_nothing_changed_is_the_same_text():
    assert tuned(TEXT, {}) == TEXT


def test_only_the_lines_named_change_and_keep_their_comments():
    new = tuned(
        TEXT,
        {
            "concentrate.Fenholt.rate": Change("56 t/h", "fitted"),
            "concentrate.Fenholt.assay.Cu": Change(28.4, "fitted"),
            "smelting.heat_loss": Change("16 MW", "fitted"),
        },
    )
    assert 'rate = "56 t/h"  # dry; fitted\n' in new
    assert "Cu = 28.4 # fitted\n" in new
    assert 'heat_loss = "16 MW" # fitted\n' in new
    assert len(new.splitlines()) == len(TEXT.splitlines())


def test_a_key_not_written_is_added_in_its_table():
    new = tuned(TEXT, {"smelting.oxygen_efficiency": Change("98 %", "fitted")})
    assert new.startswith(TEXT) and new.endswith('oxygen_efficiency = "98 %" # fitted\n')
    assert '[converting]\nheat_loss = "5 MW" # fitted' in tuned(
        TEXT, {"converting.heat_loss": Change("5 MW", "fitted")}
    )


def test_an_item_that_is_not_there_is_refused():
    with pytest.raises(KeyError):
        tuned(TEXT, {"concentrate.Birch.rate": Change("1 t/h", "fitted")})
