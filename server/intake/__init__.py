"""Two doors, one path: sealed envelopes and answers entered by staff; opened, checked, scored, recorded."""
