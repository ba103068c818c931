"""How the program is called on this machine, for what people are told to type."""

import sys
from pathlib import Path


def called() -> str:
    """Its path where it stands beside the Python that runs it, as in a `.venv`; else the name alone."""
    program = Path(sys.executable).with_name("yearmark")
    return str(program) if program.exists() else "yearmark"
