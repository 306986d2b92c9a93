"""Solvers that know nothing of chemistry: batched Newton, small linear algebra, quadratic programs."""
