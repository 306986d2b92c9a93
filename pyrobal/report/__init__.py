"""A solved case for people: terminal, JSON, one-file HTML, spreadsheet, and the way each number came about.

Nothing here computes a balance: results become lines and tables in plant units, and those are shown.
"""
