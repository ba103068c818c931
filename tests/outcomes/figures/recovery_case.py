"""The figure of recovery of a clinic, every number invented; and one by chance, of any shape."""

from dataclasses import replace

from hypothesis import strategies as st

from server.outcomes.figures.recovery_layout import Counts, RecoveryFigure, WindowShare
from server.outcomes.figures.weeks_layout import Rise, WeekSteps

WORK = (
    Rise(2, 2, 0, 0.05, 84), Rise(4, 4, 0.05, 0.14, 80), Rise(6, 6, 0.14, 0.3, 72), Rise(8, 8, 0.3, 0.42, 60), Rise(10, 10, 0.42, 0.5, 50),
    Rise(12, 12, 0.5, 0.62, 43), Rise(13, 26, 0.62, 0.74, 33), Rise(26, 27, 0.74, 0.79, 20), Rise(30, 48, 0.79, 0.84, 15),
)  # fmt: skip
LASTING = (
    Rise(0, 6, 0, 0.12, 60),
    Rise(6, 13, 0.12, 0.44, 55),
    Rise(13, 26, 0.44, 0.71, 40),
    Rise(27, 52, 0.71, 0.83, 18),
)


def recovery_figure() -> RecoveryFigure:
    shares = (
        (0.31, 0.24, 0.4, 120),
        (0.52, 0.4, 0.63, 64),
        (0.7, 0.56, 0.8, 38),
        (0.8, 0.74, 0.86, 210),
        (0.83, 0.76, 0.88, 180),
    )
    names = (("6 weeks", "6 wk"), ("3 months", "3 mo"), ("6 months", "6 mo"), ("1 year", "1 y"), ("2 years", "2 y"))
    windows = tuple(
        WindowShare(*name, of=of, share=share, lower=lower, upper=upper)
        for name, (share, lower, upper, of) in zip(names, shares, strict=True)
    )
    rows = (
        Counts("said yes", ("37", "33", "27", "169", "150")),
        Counts("said no", ("83", "30", "10", "36", "22")),
        Counts("revised, counts as no", ("0", "1", "1", "5", "8")),
        Counts("silent or never asked", ("40", "12", "22", "60", "71")),
        Counts("whose window has closed", ("160", "76", "60", "270", "251"), strong=True),
    )
    work = WeekSteps(
        "Work",
        "of 84 who worked before",
        WORK,
        52,
        ("84 %", "back by week 48"),
        "still waited for: work",
        (84, 33, 21, 14, 10),
    )
    lasting = WeekSteps(
        "Lasting yes", "of 60 with three looks or more in year 1", LASTING, 52, ("83 %", "by week 52"),
        "still waited for: lasting yes", (60, 44, 20, 14, 11),
    )  # fmt: skip
    return RecoveryFigure(
        "How long is recovery?", "Acceptable", "share by their own answer at each window, in percent", windows, rows, (work, lasting),
        "Weeks after surgery", 52, (("Work", "Work"), ("Lasting yes", "Lasting")),
        (Counts("who waited", ("84", "60"), strong=True), Counts("back, or a yes that lasts", ("70", "50"))),
        "At one year 80 % call it acceptable.",
    )  # fmt: skip


@st.composite
def recovery_figures(draw: st.DrawFn) -> RecoveryFigure:
    """With shares of any size, windows without any, and steps of any number, in a language of short or long words."""
    figure = recovery_figure()
    long = draw(st.sampled_from(["", " según lo que ellos mismos respondieron"]))
    shares = st.none() | st.floats(0, 1)
    windows = tuple(
        replace(each, of=draw(st.integers(0, 60)), share=(share := draw(shares)), lower=0.0 if share is not None else None,
                upper=1.0 if share is not None else None)
        for each in figure.windows
    )  # fmt: skip
    steps = tuple(
        replace(each, lead=each.lead + long, last=draw(st.sampled_from([4, 26, 52])), rises=draw(rises()))
        for each in figure.steps[: draw(st.integers(0, 2))]
    )
    rows = tuple(replace(row, label=row.label + long) for row in figure.rows)
    names = draw(
        st.sampled_from(
            [
                ("Work", "Lasting yes"),
                ("De vuelta al trabajo", "De vuelta al deporte", "Conduce de nuevo", "Sí que dura"),
            ]
        )
    )
    shorts = ("trabajo", "deporte", "coche", "sí dos veces")
    columns = tuple(zip(names, shorts, strict=False))
    by_event = tuple(replace(row, counts=(row.counts * 2)[: len(names)]) for row in figure.by_event)
    steps = tuple(replace(each, heading=names[place]) for place, each in enumerate(steps))
    horizon = draw(st.sampled_from([52, 104]))
    return replace(
        figure,
        lead=figure.lead + long,
        windows=windows,
        rows=rows,
        steps=steps,
        horizon=horizon,
        columns=columns,
        by_event=by_event,
    )


@st.composite
def rises(draw: st.DrawFn) -> tuple[Rise, ...]:
    at, level, waiting, found = 0.0, 0.0, draw(st.integers(0, 60)), []
    for _each in range(draw(st.integers(0, 6))):
        left = at + draw(st.integers(1, 9))
        right, after = left + draw(st.sampled_from([0, 0, 7])), level + draw(st.floats(0.01, 0.15))
        found.append(Rise(left, right, level, after, waiting))
        at, level, waiting = right, after, max(0, waiting - 5)
    return tuple(found)
