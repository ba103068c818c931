"""The small faults that the soak puts into the code: which there are, how they are named, and that reasons still fit."""

import ast
import importlib
import os

import pytest

from tests.soak.mutation.campaign import ROOT, TARGETS, Campaign, Target
from tests.soak.mutation.mutants import Mutant, mutants_of
from tests.soak.mutation.reasons import FILE, ReasonProblem, entry_for, read_reasons
from tests.soak.mutation.trial import Session


def found_in(source: str) -> list[Mutant]:
    return list(mutants_of("a.py", source, ast.parse(source)))


def changed(source: str) -> set[str]:
    """The source after each of its mutants."""
    results = set()
    for place in range(len(found_in(source))):
        tree = ast.parse(source)
        list(mutants_of("a.py", source, tree))[place].apply()
        results.add(ast.unparse(ast.fix_missing_locations(tree)))
    return results


@pytest.mark.parametrize(
    ("source", "among"),
    [
        ("x = a < b", {"x = a <= b", "x = a >= b"}),
        ("x = a and b", {"x = a or b", "x = a", "x = b"}),
        ("x = not a", {"x = a"}),
        ("x = a - 2", {"x = a + 2", "x = a - 3", "x = a - 1"}),
        ("x = a[1:]", {"x = a[:]", "x = a[2:]", "x = a[0:]"}),
        ("x = b if a else c", {"x = b if not a else c"}),
        ("x = [a for a in b if c]", {"x = [a for a in b]"}),
        ("x = {'a': 1, 'b': 2}", {"x = {'b': 2}", "x = {'': 1, 'b': 2}", "x = {'a': 1, 'b': 1}"}),
        ("x = f'is {a}'", {"x = f'{a}'", "x = f'is '"}),
        ("x = f(a, key=b)", {"x = f(a)"}),
        ("x = max(a)", {"x = min(a)"}),
        ("x = True", {"x = False"}),
        ("def f():\n    return a", {"def f():\n    return None"}),
        ("def f():\n    if a:\n        raise b", {"def f():\n    if a:\n        pass", "def f():\n    if not a:\n        raise b"}),
        ("def f():\n    for a in b:\n        continue", {"def f():\n    for a in b:\n        pass"}),
    ],
)  # fmt: skip
def test_every_kind_of_fault_is_tried(source: str, among: set[str]) -> None:
    assert changed(source) >= among


@pytest.mark.parametrize(
    "source",
    [
        '"""Words."""',
        "def f(a: 'int | None') -> 'str': ...",
        "Answer = int | None",
        "x = cast('int', a)",
        "x = zip(a, b, strict=True)",
        "@cache(maxsize=8)\ndef f(): ...",
        "import a",
        "def f():\n    return None",
    ],
)
def test_what_no_caller_could_tell_is_left_alone(source: str) -> None:
    assert changed(source) == set()


def test_a_mutant_is_named_the_same_wherever_it_moves() -> None:
    source = "class A:\n    def f(self):\n        return 1 + 1\n"
    (first, *_), moved = found_in(source), found_in("import b\n\n" + source)
    assert [each.key for each in found_in(source)] == [each.key for each in moved]
    assert first.function == "A.f"
    assert len({each.key for each in moved}) == len(moved)


def test_a_survivor_is_printed_as_an_entry_that_lacks_its_reason_only() -> None:
    survivors = found_in('x = f("é", a < 3)')
    entry = entry_for(survivors)
    with pytest.raises(ReasonProblem, match="says too little"):
        read_reasons(entry)
    reasons = read_reasons(entry.replace('reason = ""', 'reason = "nobody can tell the two apart"'))
    assert set(reasons) == {each.key for each in survivors}
    with pytest.raises(ReasonProblem, match="stands there twice"):
        read_reasons(entry.replace('reason = ""', 'reason = "nobody can tell the two apart"') * 2)


def test_every_written_reason_belongs_to_a_mutant_of_the_code_as_it_is() -> None:
    """Whether that mutant really survives is found out by ./run soak."""
    files = [file for target in TARGETS for file in target.files()]
    sources = {file: (ROOT / file).read_text("utf-8") for file in files}
    keys = {each.key for file, text in sources.items() for each in mutants_of(file, text, ast.parse(text))}
    assert [key for key in read_reasons(FILE.read_text("utf-8")) if key not in keys] == []


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each.folder)
def test_nothing_is_tried_where_the_code_is_imported_already(target: Target) -> None:
    for file in target.files():
        importlib.import_module(file.removesuffix(".py").replace("/", "."))
    with pytest.raises(RuntimeError, match="imported already, so that no mutant would be tried"):
        Campaign(target, jobs=1).run()


class Failing(Session):
    """Tests that fail whatever they are asked."""

    def __init__(self) -> None:
        super().__init__((), lambda session: None)

    def fork(self) -> int:
        return os.spawnlp(os.P_NOWAIT, "false", "false")


@pytest.mark.parametrize("judges", [(), ("tests/test_anything.py",)])
def test_no_fault_is_tried_by_tests_that_fail_anyway(judges: tuple[str, ...]) -> None:
    with pytest.raises(RuntimeError, match="the tests fail without any mutant"):
        Campaign(TARGETS[0], jobs=1, judges=judges)._work(Failing())
