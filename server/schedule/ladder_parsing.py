"""Reads a reminder ladder from JSON data, as strictly as a plan. DataProblem names the place."""

from scoring.data_reader import Node
from server.schedule.ladder import Ladder, LadderStep, Role
from server.schedule.plan_parsing import IDENTIFIER, WHOLE_VERSION

FIRST_DAY, LAST_DAY = -60, 366


def parse_ladder(data: object) -> Ladder:
    """The ladder in `data`, as json.load gives it."""
    top = Node.of(data, "ladder")
    top.only("id", "version", "title", "note", "before_surgery", "weeks", "years")
    return Ladder(
        id=top.text("id", pattern=IDENTIFIER),
        version=top.text("version", pattern=WHOLE_VERSION),
        title=top.text("title", longest=120),
        note=top.text("note", longest=2000, may_be_empty=True) if top.has("note") else "",
        before_surgery=_steps(top, "before_surgery"),
        weeks=_steps(top, "weeks"),
        years=_steps(top, "years"),
    )


def _steps(top: Node, key: str) -> tuple[LadderStep, ...]:
    """In order of their days, at most one a day: two messages on one day could not be told from a repeat."""
    steps: list[LadderStep] = []
    for node in top.nodes(key):
        node.only("step", "day", "role")
        day = node.whole("day", steps[-1].day + 1 if steps else FIRST_DAY, LAST_DAY)
        name = node.text("step", pattern=IDENTIFIER)
        if any(step.step == name for step in steps):
            raise node.refuse("step", f"{name} stands there twice")
        steps.append(LadderStep(name, day, Role(node.word("role", [str(role) for role in Role]))))
    return tuple(steps)
