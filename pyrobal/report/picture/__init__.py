"""One picture of the plant: its steps, and what goes between them as bands as wide as it is much.

``bands`` reads the flows off the balance, ``layout`` places them, ``svg`` draws them.
"""

from pyrobal.report.picture.bands import HEAT, MASS, Band, bands, quantities, table
from pyrobal.report.picture.svg import ALIKE, COLOURS, LESS, MORE, NAMES, offered, picture, pictures, widest

__all__ = [
    "ALIKE",
    "COLOURS",
    "HEAT",
    "LESS",
    "MASS",
    "MORE",
    "NAMES",
    "Band",
    "bands",
    "offered",
    "picture",
    "pictures",
    "quantities",
    "table",
    "widest",
]
