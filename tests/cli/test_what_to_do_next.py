"""What set-up prints at its end and README.md lead a new administrator through the same steps, in the same order."""

from pathlib import Path

import pytest

from server.cli.set_up import NEXT
from tests.structure.tree import text_of

STEPS = (
    "yearmark serve", "web server", "second step", "second data manager", "licensed texts or records", "privacy notice",
    "safety answer", "yearmark backup", "yearmark backup-keys", "yearmark drill",
)  # fmt: skip
PRINTED = NEXT.replace("{program}", "yearmark")
# Where the two say the same in other words.
OTHERWISE = {"licensed texts or records": "install the owners' texts"}


def readme() -> str:
    return text_of(Path("README.md")).split("## A clinic of your own")[1].split("### What stands in clear")[0]


def missing_or_too_early(told: str, steps: list[str]) -> list[str]:
    """The steps that are not found behind the one before."""
    rest, wrong = " ".join(told.lower().split()), []
    for step in steps:
        before, found, behind = rest.partition(step.lower())
        rest = behind if found else before
        wrong += [] if found else [step]
    return wrong


@pytest.mark.parametrize("told", [PRINTED, readme()], ids=["set-up", "README"])
def test_each_step_follows_the_one_before(told: str) -> None:
    steps = [OTHERWISE.get(step, step) if told == PRINTED else step for step in STEPS]
    assert missing_or_too_early(told, steps) == []
