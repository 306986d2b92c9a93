"""How one reading came about, told by the numbers themselves.

The balance is solved once with arrays that remember what made them (``pyrobal.trace``). A value is told by
the operations of the statement that made it, taken together as one equation (``teller``) in the words of the
source (``source``, ``words``, ``naming``), its operands in turn, and so on back to the settings, the tables
and the constants (``known``). ``show`` lays this out as text and ``page`` as a page; ``influence`` ranks what
moves the reading. No second text describes the computation, so none can drift.
"""
