"""Journeys through the whole of Yearmark: a real server in its own process, a real browser, and what people see."""
