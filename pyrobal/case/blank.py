"""A case to fill in: a text with comments, which runs as it stands."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

_PARTS: Final = {"furnace": ("furnace",), "whole": ("furnace", "whole"), "acid": ("acid",)}
PLANTS: Final = tuple(_PARTS)


def blank(plant: str) -> str:
    """The text of a case file.

    plant : "furnace", "whole" (the furnace and all behind it) or "acid" (the acid plant alone)

    Raises KeyError for another plant.
    """
    folder = files("pyrobal.case") / "blanks"
    return "".join((folder / f"{part}.toml").read_text(encoding="utf-8") for part in _PARTS[plant])
