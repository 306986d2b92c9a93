"""Arrays that remember: every number knows the operation and the operands that made it, and its unit.

While a ``Trace`` is open, settings and tables enter as ``Traced`` arrays; numpy hands every operation on them
to ``array``, which works it out, writes down a ``Node`` and finds the unit of what came of it (``measures``).
The graph of nodes is then walked: element by element back to what made it (``rules``), or all at once for
the derivatives (``slopes``). Equations that are solved by iteration are sought with the trace paused, and
enter as one node that holds the equations at their root (``solved``).
"""
