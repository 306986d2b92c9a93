"""pyrobal: heat and mass balance of a copper smelter and converter."""

__version__ = "0.1.0"
