"""A reconciliation on screen, page and workbook, as JSON and as a tuned case."""
