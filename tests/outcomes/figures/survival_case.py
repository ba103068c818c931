"""Figures of implant survival to draw: numbers of nobody, with late entry, a thin end and deaths."""

from dataclasses import replace
from typing import Any

from server.outcomes.figures.survival import CountRow, Panel, Step, SurvivalFigure

ROWS = ("watched", "entered so far", "revised so far", "died so far", "left the watch")
WATCHED = (267, 270, 259, 240, 225, 211, 180, 160, 132, 110, 98, 84, 70, 52, 40, 33)


def stairs(last: float, end: float, *, limits: bool = True) -> tuple[Step, ...]:
    """Thirty steps up to a share at the end, steeper at first."""
    found: list[Step] = [(0.0, 0.0, None, None)]
    for number in range(1, 31):
        share = last * (number / 30) ** 0.7
        found.append((end * number / 31, share, *((share * 0.65, min(1.0, share * 1.5)) if limits else (None, None))))
    return tuple(found)


def panel(question: str, last: float, times: tuple[float, ...], end: float, **values: Any) -> Panel:
    rows = tuple(
        CountRow(label, tuple(WATCHED[place % 16] + number for place in range(len(times))))
        for number, label in enumerate(ROWS)
    )
    answer = (f"{last * 100:.1f} % revised at 10 years", "limits 6.5 to 14.4 %", "90.3 % still in place")
    return replace(Panel(question, answer, stairs(last, end), rows), **values)


def survival_figure(end: float = 15.4, **values: Any) -> SurvivalFigure:
    times = tuple(float(year) for year in range(int(end) + 1))
    words = ("", *(str(year) for year in range(1, int(end) + 1)))
    dead = tuple((time, share * 3) for time, share, *_ in stairs(0.1, end))
    panels = (
        panel("Were nobody to die: how many would have been revised by each year?", 0.097, times, end),
        panel(
            "As it was, with deaths: how many were revised before they died?", 0.092, times, end,
            beside=dead, beside_words="died",
        ),
    )  # fmt: skip
    made = SurvivalFigure(
        "How long do the implants last?",
        panels,
        times,
        words,
        end,
        ((0.0, min(14.0, end)),),
        0.4,
        10.0,
        "Revised",
        "Year",
    )
    return replace(made, **values)
