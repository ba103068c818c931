"""Instrument definitions, answers and scores: pure Python, standard library only; no clock, no database, no network."""
