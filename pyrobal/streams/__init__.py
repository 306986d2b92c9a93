"""Streams between the steps of the plant: amounts, temperatures, mixing, and the ledger that closes them."""
