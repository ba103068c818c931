"""Small faults put into the code one at a time: python -m tests.soak.mutation says which of them no test notices."""
