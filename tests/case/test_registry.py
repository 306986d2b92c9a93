"""The registry says what the reader does: its defaults are accepted, its limits are the limits."""

from __future__ import annotations

import re

import pytest

from pyrobal.case.load import load_case
from pyrobal.case.registry import OF_READING, Setting, matching, settings
from pyrobal.errors import CaseError
from pyrobal.units import SPELLINGS

CASE = """
[[concentrate]]
name = "one"
rate = "55 t/h"
[concentrate.assay]
Cu = 28
Fe = 28
S = 32
[[revert]]
name = "one"
rate = "1 t/h"
[revert.assay]
Cu = 60
[flux.silica.assay]
SiO2 = 90
[flux.lime.assay]
CaO = 50
[fuel.one]
CH4 = 100
[dryer]
[smelting]
cao_sio2 = 0.1
"""
REGISTRY = list(settings())
LIMITED = [s for s in REGISTRY if re.match(r"-?[\d.e+]+ to ", s.allowed) and "<X>" not in s.key]


def key(setting: Setting) -> str:
    return re.sub(
        r"<(\w+)\|[^>]+>",
        r"\1",
        setting.key.replace("stack.<name>", "stack.acid_plant").replace("<name>", "one"),
    )


def faults(assignment: str, of: str) -> list[str]:
    try:
        load_case(CASE, [assignment])
    except CaseError as error:
        return [fault.text for fault in error.faults if fault.key == of]
    return []


def test_keys_are_unique_and_say_something() -> None:
    assert len({s.key for s in REGISTRY}) == len(REGISTRY) > 50
    assert all(len(s.meaning) > 5 and "\n" not in s.meaning for s in REGISTRY)
    assert {s.unit for s in REGISTRY} <= {*SPELLINGS, "", "vol%/wt%", OF_READING}


@pytest.mark.parametrize("setting", [s for s in REGISTRY if s.default not in ("none", "required")], ids=key)
def test_the_default_may_be_written(setting: Setting) -> None:
    said = faults(f"{key(setting)}={setting.default}", key(setting))
    assert all("excludes" in text for text in said)


@pytest.mark.parametrize("setting", LIMITED, ids=key)
def test_beyond_the_limits_is_refused(setting: Setting) -> None:
    low, _, rest = setting.allowed.partition(",")[0].partition(" to ")
    high = float(rest.split()[0])
    for beyond in (float(low) - 0.01 * (high - float(low)), high + 0.01 * (high - float(low))):
        value = f"{beyond:.6g}" if setting.unit == "-" else f"{beyond:.6g} {setting.unit}"
        said = faults(f"{key(setting)}={value}", key(setting))
        assert len(said) == 1
        assert re.search("too low|too high|negative|does not begin|not above", said[0])


def test_prefixes() -> None:
    assert {s.key for s in matching("dryer")} == {s.key for s in REGISTRY if s.key.startswith("dryer.")}
    assert "smelting.enrichment" in {s.key for s in matching("enrich")}
    assert matching("nonsense") == []
