"""The arithmetic of outcomes: numbers in, numbers out; no clock, no database. Beside the standard library numpy, for bootstraps, and
statsmodels, for mixed models."""
