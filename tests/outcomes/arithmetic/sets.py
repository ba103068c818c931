"""The published sets that the tests of survival, incidence, log-rank and intervals share."""

from collections.abc import Sequence
from pathlib import Path

from hypothesis import strategies as st

from server.outcomes.arithmetic.incidence import IncidenceStep
from server.outcomes.arithmetic.spans import Span
from server.outcomes.arithmetic.survival import SurvivalStep
from server.outcomes.arithmetic.survival_document import read_groups

DATA = Path(__file__).parent.parent / "data"
# Freireich et al., Blood 1963;21:699-716: weeks in remission.
MERCAPTOPURINE = [Span(time, 1) for time in (6, 6, 6, 7, 10, 13, 16, 22, 23)] + [
    Span(time, 0) for time in (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
]
PLACEBO = [Span(time, 1) for time in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)]


def groups_of(name: str) -> dict[str, list[Span]]:
    groups, incomplete = read_groups((DATA / name).read_text(encoding="utf-8"))
    assert incomplete == 0
    return groups


def spans_of(name: str) -> list[Span]:
    return [span for spans in groups_of(name).values() for span in spans]


def mgus2_late() -> list[Span]:
    """As if watched from 0, 12, 24, 36 or 48 months on, in turn: entry <- 12*((seq_len(1384)-1)%%5), those with e>entry."""
    late = [span._replace(entry=12 * (index % 5)) for index, span in enumerate(spans_of("mgus2.csv"))]
    return [span for span in late if span.time > span.entry]


def place_at(steps: Sequence[SurvivalStep | IncidenceStep], time: float) -> int:
    """The place of the step on which the curve stands at that time."""
    return max(index for index, step in enumerate(steps) if step.time <= time)


@st.composite
def spans(draw: st.DrawFn) -> Span:
    entry = draw(st.integers(0, 12))
    person = draw(st.sampled_from([None, "a", "b", "c"]))
    return Span(entry + draw(st.integers(1, 12)), draw(st.integers(0, 3)), entry, person)
