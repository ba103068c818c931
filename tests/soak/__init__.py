"""The long proofs: python -m tests.soak prints one line each, with what was tried and what was lost."""
