"""Plan: which parcels in which period, with stocks between them."""
