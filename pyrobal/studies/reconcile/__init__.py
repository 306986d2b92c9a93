"""Plant measurements against the balance: read, fit, test, predict, account."""
