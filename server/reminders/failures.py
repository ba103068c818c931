"""How a failure is logged: by its kind and place, never by its text, which may hold a name, an address or an answer."""

import logging
from pathlib import Path
from traceback import extract_tb

log = logging.getLogger("yearmark.reminders")


def kind_and_place(problem: BaseException) -> str:
    """Such as `KeyError in plan.py line 112`."""
    frames = extract_tb(problem.__traceback__)
    ours = [frame for frame in frames if "server" in Path(frame.filename).parts] or frames
    place = f" in {Path(ours[-1].filename).name} line {ours[-1].lineno}" if ours else ""
    return f"{type(problem).__name__}{place}"
