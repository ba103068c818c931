"""Sentences, labels, dates, numbers and lists in a reader's language; README.md tells how to change one."""
