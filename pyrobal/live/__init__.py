"""The balance in a page of one's own browser, while settings move: this machine only.

``source`` is the case file, ``asked`` what the page asks, ``answer`` and its neighbours what it is told,
``guard`` who is let in, ``server`` the addresses. The page itself lies in ``page``.
"""
