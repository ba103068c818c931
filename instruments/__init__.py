"""Data only: instruments, forms and follow-up plans. README.md is the contract; scoring.library reads it."""
