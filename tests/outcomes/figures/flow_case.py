"""A flow as a clinic has it, every count and name invented."""

from server.outcomes.figures.flow import FlowFigure, Loss, Step


def say_people(number: int) -> str:
    return f"{number} people" if number != 1 else "1 person"


STEPS = (
    Step("operations in the log", 452, 368),
    Step("shoulders that the sentence means", 358, 302),
    Step("taking part", 335, 285),
    Step("with an answer after surgery", 303, 260),
)
LOSSES = (
    Loss("another procedure", 44, 40, "not_meant", "/lost/procedure"),
    Loss("another diagnosis", 26, 25, "not_meant", "/lost/diagnosis"),
    Loss("cuff torn or not recorded", 24, 24, "not_meant", "/lost/cuff"),
    Loss("declined to take part", 15, 14, "never_asked", "/lost/declined"),
    Loss("never asked to take part", 8, 8, "never_asked", "/lost/never_asked"),
    Loss("not a year old yet, or dead or revised before the first year", 20, 20, "not_expected", "/lost/early"),
    Loss("asked, and answered nothing after surgery", 12, 12, "missed", "/lost/silent"),
)


def flow(steps: tuple[Step, ...] = STEPS, losses: tuple[Loss, ...] = LOSSES) -> FlowFigure:
    return FlowFigure(steps, losses, "From the log to the answers", say_people)
