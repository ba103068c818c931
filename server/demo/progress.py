"""A bar in the terminal while the clinic is being invented; plain lines where the output is a file."""

import sys
from typing import TextIO

WIDTH = 30


class Bar:
    """Call it with a share from 0 to 1 and a word. It writes only when something visible changed."""

    def __init__(self, text: str, out: TextIO | None = None) -> None:
        self._text = text
        self._out = out or sys.stdout
        self._last: tuple[int, str] = (-1, "")
        self._moves = self._out.isatty()

    def __call__(self, share: float, word: str) -> None:
        percent = int(share * 100)
        shown = (percent, word) if self._moves else (percent // 20 * 20, "")
        if shown == self._last or shown[0] < self._last[0]:
            return
        self._last = shown
        if self._moves:
            full = int(share * WIDTH)
            marks = "|" * full + "." * (WIDTH - full)
            self._out.write(f"\r{self._text}  {marks} {percent:3d} %  {word:<6}" + ("\n" if share >= 1 else ""))
        else:
            self._out.write(f"{self._text}: {shown[0]} %\n")
        self._out.flush()
