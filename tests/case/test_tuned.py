"""A case file with some settings changed keeps everything else."""

from __future__ import annotations

import tomllib

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


def test_an_item_that_is_not_there_is_added_behind_the_others():
    new = tuned(
        TEXT, {"concentrate.Birch.rate": Change("1 t/h", "a trial"), "concentrate.Birch.assay.Cu": Change(30)}
    )
    added = '[[concentrate]]\nname = "Birch"\nrate = "1 t/h" # a trial\n\n[concentrate.assay]\nCu = 30\n\n'
    assert new == TEXT.replace("[smelting]", f"{added}[smelting]")


def test_the_first_item_of_a_section_is_added():
    new = tuned(TEXT, {"limit.burners.most": Change("8 MW")})
    assert new == f'{TEXT}\n[[limit]]\nname = "burners"\nmost = "8 MW"\n'


def test_items_on_one_line_stay_there():
    text = 'concentrate = [{name = "Fenholt", rate = "5 t/h", assay = {Cu = 28}}]\n'
    new = tuned(text, {"concentrate.Birch.rate": Change("1 t/h"), "concentrate.Birch.assay.Cu": Change(30)})
    birch = {"name": "Birch", "rate": "1 t/h", "assay": {"Cu": 30}}
    assert tomllib.loads(new)["concentrate"] == [*tomllib.loads(text)["concentrate"], birch]
