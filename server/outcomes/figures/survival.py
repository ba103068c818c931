"""What the figure of implant survival is drawn from: two panels on one scale, each with its question, its answer and who was watched."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.outcomes.figures.fade import FULL, FULL_FROM, THIN, Weight

Step = tuple[float, float, float | None, float | None]


@dataclass(frozen=True)
class CountRow:
    """A row under a panel: what is counted, and how many at each of the figure's times."""

    label: str
    counts: tuple[int, ...]


@dataclass(frozen=True)
class Panel:
    """`curve`: time, share, lower and upper limit of each step, the first at the start. `answer`: its first line stands out.

    `beside`: time and share of a second line, drawn dashed, with the words `beside_words`. `rows`: the first are the watched.
    """

    question: str
    answer: tuple[str, ...]
    curve: tuple[Step, ...]
    rows: tuple[CountRow, ...]
    beside: tuple[tuple[float, float], ...] = ()
    beside_words: str = ""


@dataclass(frozen=True)
class SurvivalFigure:
    """`times`: those under which counts stand, the first the start of the curves, all others whole years; `time_words` says them.

    `full`: from when to when a curve is drawn full. `top`: the share up to which both panels reach. `answered_at`: the time of which the
    answers speak. `percent` says a share of a hundred, `years` what the axis counts.
    """

    title: str
    panels: tuple[Panel, ...]
    times: tuple[float, ...]
    time_words: tuple[str, ...]
    end: float
    full: tuple[tuple[float, float], ...]
    top: float
    answered_at: float
    share_words: str
    years_words: str

    @property
    def start(self) -> float:
        return self.times[0]

    def stretches(self) -> list[tuple[float, float, Weight]]:
        """The figure from its start to its end, in parts that are drawn full or thin."""
        cuts = sorted({self.start, self.end, *(time for run in self.full for time in run)})
        return [(since, until, self._weight(since, until)) for since, until in pairwise(cuts)]

    def is_full(self, place: int) -> bool:
        """Whether enough are watched at one of the times."""
        return self.panels[0].rows[0].counts[place] >= FULL_FROM

    def _weight(self, since: float, until: float) -> Weight:
        return FULL if any(run[0] <= since and until <= run[1] for run in self.full) else THIN


def between(curve: Sequence[Step], since: float, until: float) -> list[Step]:
    """The steps of a curve from one time to another: as it stands at the first, and each later one up to and with the last."""
    before = [step for step in curve if step[0] <= since]
    inside = [step for step in curve if since < step[0] <= until]
    return [(since, *before[-1][1:]), *inside]
