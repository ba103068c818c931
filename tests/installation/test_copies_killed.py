"""Copying, restoring and trying a restore, killed with SIGKILL at a few write points spread over all of them; `./run soak` tries each.

Whatever the instant: a copy is whole or nobody takes it for one, a restored clinic is whole or says that it is not, the same command once
more comes to the end, and the clinic's own data are as they were.
"""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.installation.copied import Copied, make_copied, server_for
from tests.installation.killed import kill_at_each, kill_tools_after, spread_over, write_points
from tests.installation.killed_commands import COMMANDS

POINTS = {"sqlite": 3, "postgresql": 2}


@pytest.fixture(scope="module", params=list(POINTS))
def clinic(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Copied, int]]:
    """One for the whole file, and how many points are tried on it."""
    folder: Path = tmp_path_factory.mktemp("killed")
    with ExitStack() as stack:
        yield make_copied(server_for(request.param), folder, stack), POINTS[request.param]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_that_is_killed_is_done_or_is_begun_anew_by_the_same_command(
    clinic: tuple[Copied, int], command: str
) -> None:
    copied, points = clinic
    killed = COMMANDS[command](copied)
    tally = kill_at_each(killed, spread_over(write_points(killed), points))
    assert tally.lost == []
    assert tally.points >= points - 1  # a run may have a write point less than the one before
    assert tally.anew > 0


@pytest.mark.parametrize("clinic", ["postgresql"], indirect=True)
@pytest.mark.parametrize("command", ["backup", "restore"])
def test_when_its_tool_of_postgresql_is_killed_a_command_refuses_and_nothing_counts(
    clinic: tuple[Copied, int], command: str
) -> None:
    tally = kill_tools_after(COMMANDS[command](clinic[0]), [0])
    assert (tally.points, tally.anew, tally.lost) == (1, 1, [])
