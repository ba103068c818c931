"""Wording that several areas share, so that one thing is called the same on every page. No database and no clock."""
