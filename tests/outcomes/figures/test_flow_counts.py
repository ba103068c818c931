"""The counts of the flow add up, or it is not drawn."""

from dataclasses import replace

import pytest

from server.outcomes.figures.flow import CountsDoNotAddUpProblem, FlowFigure, Step
from server.outcomes.figures.flow_drawing import draw_flow
from tests.outcomes.figures.flow_case import LOSSES, STEPS, flow


def test_the_sum_names_those_analysed_and_then_every_loss_as_drawn() -> None:
    assert flow().sum == "452 = 303 + 12 + 20 + 8 + 15 + 24 + 26 + 44"
    assert f"<desc>{flow().sum}</desc>" in draw_flow(flow(), 820)


WRONG = {
    "303 analysed and 148 lost are not the 452": flow(losses=(replace(LOSSES[0], count=43), *LOSSES[1:])),
    "that the sentence means: no losses, in their order, leave 358 of 452": flow(losses=LOSSES[::-1]),
    "taking part: more than": flow(steps=(*STEPS[:2], replace(STEPS[2], count=359), STEPS[3])),
    "another procedure: 44 operations cannot be those of 45": flow(losses=(replace(LOSSES[0], people=45), *LOSSES[1:])),
    "another procedure: 44 operations cannot be those of 0": flow(losses=(replace(LOSSES[0], people=0), *LOSSES[1:])),
    "another procedure: -1 operations": flow(losses=(replace(LOSSES[0], count=-1), *LOSSES[1:])),
    "without a step": flow(steps=()),
}


@pytest.mark.parametrize("said", WRONG)
def test_a_contradiction_is_named_and_nothing_is_drawn(said: str) -> None:
    with pytest.raises(CountsDoNotAddUpProblem) as problem:
        draw_flow(WRONG[said], 820)

    assert said in str(problem.value)


def test_losses_between_two_steps_may_stand_in_any_order() -> None:
    first, second, *others = LOSSES

    assert "another diagnosis" in draw_flow(flow(losses=(second, first, *others)), 820)


def empty() -> FlowFigure:
    return flow(tuple(Step(step.label, 0, 0) for step in STEPS), ())


@pytest.mark.parametrize("width", [320, 1152])
def test_an_empty_log_is_drawn_as_its_words_alone(width: int) -> None:
    drawn = draw_flow(empty(), width)

    assert drawn.count("<text") >= len(STEPS)
    assert "<rect" not in drawn and "<path" not in drawn
