"""Estimates, tests, comparisons, verdicts, power and figures."""
