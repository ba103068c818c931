"""How the program says things; shared by every area."""
