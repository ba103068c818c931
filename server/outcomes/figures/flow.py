"""The flow: every operation in the log, those that are analysed, and where each of the others was lost."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Literal

Mark = Literal["missed", "not_expected", "never_asked", "not_meant"]


class CountsDoNotAddUpProblem(ValueError):
    """The counts of a figure contradict each other, so it is not drawn; the message says which do."""


@dataclass(frozen=True)
class Step:
    """How many operations, of how many people, are still there. `label` goes on from the count: "taking part"."""

    label: str
    count: int
    people: int


@dataclass(frozen=True)
class Loss:
    """Why operations left the flow, drawn as `mark`; `href` leads to the people, and is empty for whom may not see them."""

    label: str
    count: int
    people: int
    mark: Mark
    href: str = ""


@dataclass(frozen=True)
class FlowFigure:
    """From the log, the first of `steps`, to those analysed, the last; `losses` in the order in which they left.

    Whatever the order of `losses` between two steps, each step must be what they leave. `people` says a number of people in the
    reader's language.
    """

    steps: tuple[Step, ...]
    losses: tuple[Loss, ...]
    title: str
    people: Callable[[int], str]

    @property
    def log(self) -> int:
        return self.steps[0].count

    @property
    def analysed(self) -> int:
        return self.steps[-1].count

    @property
    def sum(self) -> str:
        """The whole as one line: 452 = 303 + 12 + 20; in the order in which it is drawn, from the left."""
        return f"{self.log} = {' + '.join(str(each) for each in (self.analysed, *(one.count for one in self.losses[::-1])))}"


def check_counts(flow: FlowFigure) -> None:
    """Raises CountsDoNotAddUpProblem with the first contradiction."""
    for problem in _problems(flow):
        raise CountsDoNotAddUpProblem(problem)


def _problems(flow: FlowFigure) -> Iterator[str]:
    if not flow.steps:
        yield "a flow without a step has nothing to begin with"
        return
    counted: tuple[Step | Loss, ...] = (*flow.steps, *flow.losses)
    for each in counted:
        if not 0 <= each.people <= each.count or (each.count and not each.people):
            yield f"{each.label}: {each.count} operations cannot be those of {each.people} people"
    for before, after in pairwise(flow.steps):
        if after.count > before.count or after.people > before.people:
            yield f"{after.label}: more than {before.label}"
    lost = sum(each.count for each in flow.losses)
    if flow.analysed + lost != flow.log:
        yield f"{flow.analysed} analysed and {lost} lost are not the {flow.log} of the log"
    left = set(accumulate((-each.count for each in flow.losses), initial=flow.log))
    for step in flow.steps:
        if step.count not in left:
            yield f"{step.label}: no losses, in their order, leave {step.count} of {flow.log}"
