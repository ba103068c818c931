"""Every action that the program writes into the audit trail has words; a code tells nobody what was done."""

import ast
import re
from collections.abc import Iterator, Mapping
from itertools import chain

from server.clinic.withdrawal import ENDS
from server.models import Base
from server.models.response import MENDS
from server.staff.audit.audit_words import ACTIONS, KINDS
from tests.structure.tree import parsed, python_files

ACTION = re.compile(r"[a-z_-]+:[a-z_-]+")
HOLE = "*"
# A try to reach the patient is taken back by server/clinic/contact_mended.py, which has a code of its own.
TAKEN_BACK = tuple(
    table.name
    for table in Base.metadata.sorted_tables
    if "taken_back_at" in table.columns and table.name != "contact_attempt"
)
RECORDED = ("finding", "event", "known_status", "operation_log")  # as server/clinic/recorded.py calls them
# What stands in the holes of those that are put together.
PUT_TOGETHER: Mapping[str, tuple[str, ...]] = {
    "patient:*": ("died", "transferred"),
    "patient:*_taken_back": tuple(ENDS),
    "response:*": MENDS,
    "*:checked_and_kept": ("operation", "event", "finding", "operation_log"),
    "*:entered": RECORDED,
    "*:corrected": RECORDED,
    "*:taken_back": TAKEN_BACK,
    "*:brought_back": TAKEN_BACK,
}


def written_actions() -> set[str]:
    """Literals of the form subject:verb in the modules that write entries. KeyError for one put together that is not listed here."""
    trees = [parsed(path) for path in python_files("server") if "migrations" not in path.parts]
    found = set(chain.from_iterable(_literals(tree) for tree in trees if _writes_entries(tree)))
    plain = {each for each in found if HOLE not in each}
    return plain | {pattern.replace(HOLE, word) for pattern in found - plain for word in PUT_TOGETHER[pattern]}


def _writes_entries(tree: ast.Module) -> bool:
    return any(isinstance(node, ast.ImportFrom) and node.module == "server.trust.audit" for node in ast.walk(tree))


def _literals(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        text = _text(node)
        if ACTION.fullmatch(text.replace(HOLE, "x")) and ":" in text:
            yield text


def _text(node: ast.AST) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(each.value) if isinstance(each, ast.Constant) else HOLE for each in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def test_every_action_that_the_program_writes_has_words() -> None:
    written = written_actions()
    assert len(written) > 100
    assert sorted(written - set(ACTIONS)) == []


def test_every_action_is_of_one_kind_that_the_page_can_be_narrowed_by() -> None:
    subjects = [subject for kind in KINDS.values() for subject in kind.subjects]
    assert len(subjects) == len(set(subjects))
    assert {action.split(":")[0] for action in ACTIONS} == set(subjects)
