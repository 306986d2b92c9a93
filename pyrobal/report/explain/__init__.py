"""How one reading came about, told by the code that computed it.

The balance is run once more while every call of the package is written down with its arguments, its locals
and its result (``record``). The equation of a value is then the expression in the source that made it
(``source``), its operands are looked up in what was written down, and so on back to the settings, the tables
and the solver (``tree``). No second text describes the computation, so none can drift.
"""
