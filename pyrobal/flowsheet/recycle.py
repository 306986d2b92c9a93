"""Where the plant's own products go back to."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.fields import choice


@dataclass(frozen=True)
class RecycleSettings:
    """Ways back that belong to no single step; steps name their own (matte_to, reject_to, scrap_to)."""

    converting_slag: str = choice(
        "where slag of converting goes; slag_cleaning means smelting where the case has no slag cleaning",
        ("slag_cleaning", "smelting", "discard"), default="slag_cleaning",
    )  # fmt: skip
    converting_dust: str = choice(
        "where dust of converting goes", ("smelting", "discard"), default="smelting"
    )
    anode_slag: str = choice(
        "where slag skimmed from the anode furnace goes", ("converting", "discard"), default="converting"
    )
