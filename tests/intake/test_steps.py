"""The path of a form runs straight down: no step of intake imports one that comes after it, and so none calls one."""

from pathlib import Path

from tests.structure.tree import imports

STEPS = (
    "hold",
    "payload",
    "open",
    "fetches",
    "source",
    "check",
    "notices",
    "scores",
    "score_form",
    "responses",
    "process",
)
INTAKE = "server.intake."


def imported_steps(step: str) -> set[str]:
    found = {each.module for each in imports(Path("server/intake") / f"{step}.py")}
    return {module.removeprefix(INTAKE) for module in found if module.startswith(INTAKE)}


def test_a_step_imports_only_steps_before_it() -> None:
    back = {step: imported_steps(step) - set(STEPS[:place]) for place, step in enumerate(STEPS)}
    assert back == {step: set() for step in STEPS}


def test_the_last_step_runs_those_of_the_path_and_the_other_door_joins_at_the_check() -> None:
    assert {"open", "check", "notices", "score_form", "responses"} <= imported_steps("process")
    assert {"check", "score_form", "responses"} <= imported_steps("enter") and "process" not in imported_steps("enter")
