"""What people call a reading: ``smelting.gas.flow_wet`` is "smelting gas, wet"."""

from __future__ import annotations

import re
from typing import Final

# Families whose parts are said in another order than they stand in the key; the first that fits is taken.
_ORDER: Final = tuple(
    (re.compile(key), said)
    for key, said in (
        (r"deportment\.(\w+)\.(.+)", r"\1 to \2"),
        (r"balance\.(\w+)\.closure", r"closure of \1"),
        (r"recovery\.Cu", r"copper recovered"),
        (r"limit\.(?:\w+\.)*(.+)\.use", r"use of \1"),
        (r"(\w+)\.heat\.(in|out)\.(.+)", r"\1 heat \2: \3"),
        (r"feed\.minerals\.(.+)", r"\1 in the feed"),
        (r"feed\.(dry|wet)_rate", r"feed, \1"),
        (r"(\w+)\.flux\.(\w+)", r"\1 \2 flux"),
        (r"(\w+)\.oxygen\.industrial", r"\1 industrial oxygen"),
        (r"gas\.(furnace|converter|anode)\.(hood|cooler|precipitator|fan)\.(.+)", r"\1 gas after \2.\3"),
        (r"gas\.(furnace|converter|anode)\.(.+)", r"\1 gas line.\2"),
        (r"gas\.(mixing|quench|tower|mist_precipitator|dilution)\.(.+)", r"gas after \1.\2"),
        (r"emissions\.stack\.(\w+)\.(\w+)", r"\1 stack \2"),
        (r"emissions\.stated\.(\w+)\.(\w+)", r"\1 stack \2, as its permit states it"),
        (r"emissions\.highest\.(\w+)\.(\w+)", r"\1 stack SO2, highest of \2"),
        (r"emissions\.(\w+)_highest\.(\w+)", r"emissions \1, highest of \2"),
    )
)
# Words said otherwise, or not at all; longer ones first.
_SAID: Final = (
    (r"^flow (wet|dry)$", r"flow, \1"), (r"^co$", "CO"),
    (r" flow wet\b", ", wet"), (r" flow dry\b", ", dry"), (r"\bflow actual\b", "actual volume"),
    (r"\bassay |\b rate$", ""), (r"\bfe sio2\b", "Fe/SiO2"), (r"\bcao sio2\b", "CaO/SiO2"),
    (r"\bo2 so2\b", "O2/SO2"), (r"\bso2 dry\b", "SO2, dry"), (r"\bso3\b", "SO3"), (r"\bso2\b", "SO2"),
    (r"\bco2\b", "CO2"), (r"\bo2\b", "O2"), (r"\bn2\b", "N2"), (r"\bh2o\b", "H2O"), (r"\bh2so4\b", "H2SO4"),
    (r"\bper t cu\b", "per tonne of copper"), (r"\bper t acid\b", "per tonne of acid"),
    (r"\bas 93$", "as 93 % H2SO4"), (r"\bas 98 5$", "as 98.5 % H2SO4"),
    (r"\b(emissions|stack) mist", r"\1 acid mist"), (r"^anode$", "anodes"),
)  # fmt: skip


def label(key: str) -> str:
    """The key in words: the place, then the quantity."""
    said = next((form.sub(order, key) for form, order in _ORDER if form.fullmatch(key)), key)
    said = said.replace(".", " ").replace("_", " ")
    for word, instead in _SAID:
        said = re.sub(word, instead, said)
    return said


def capital(text: str) -> str:
    """``text`` as a sentence begins; SO2 stays SO2."""
    return text[:1].upper() + text[1:]
