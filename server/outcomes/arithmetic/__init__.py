"""The arithmetic of outcomes: numbers in, numbers out; no clock, no database, the standard library alone."""
