"""One picture of the plant: its steps, and what goes between them as bands as wide as it is much.

``bands`` reads the flows off the balance, ``layout`` places them, ``svg`` draws them.
"""

from pyrobal.report.picture.bands import MASS, Band, bands, quantities, table
from pyrobal.report.picture.svg import COLOURS, NAMES, picture, widest

__all__ = ["COLOURS", "MASS", "NAMES", "Band", "bands", "picture", "quantities", "table", "widest"]
