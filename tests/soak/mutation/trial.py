"""Tries mutants: each in a forked child of one waiting test session, which loads the changed module and runs the tests.

The children start before anything of the target is imported, so that whatever is worked out at import is worked out anew.
"""

import ast
import importlib.abc
import importlib.machinery
import json
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any, Literal

import pytest

from tests.soak.mutation.mutants import Mutant

Outcome = Literal["killed", "timed out", "survived"]
CPU_SECONDS = 30  # the tests of scoring take about a third of it
MEMORY = 4 << 30
FEW = 3
PROFILE = "mutation"


@dataclass
class Seen:
    """What the tests do without a mutant: seconds by test, and the tests by the line they run, `file:number`."""

    seconds: dict[str, float]
    tests: dict[str, list[str]]

    def first(self, lines: Iterable[str]) -> tuple[str, ...]:
        """The tests that run one of the lines, the quick before the slow, of the few quickest files only."""
        running = {test for line in lines for test in self.tests.get(line, ())}
        by_file: dict[str, float] = {}
        for test in running:
            by_file[file_of(test)] = by_file.get(file_of(test), 0.0) + self.seconds[test]
        files = sorted(by_file, key=by_file.__getitem__)[:FEW]
        return tuple(sorted((each for each in running if file_of(each) in files), key=self.seconds.__getitem__))


def file_of(test: str) -> str:
    return test.partition("::")[0]


class Changed(importlib.abc.Loader, importlib.abc.MetaPathFinder):
    """Loads one module from a tree."""

    def __init__(self, file: str, tree: ast.Module) -> None:
        self.file, self.tree = file, tree
        self.name = file.removesuffix(".py").replace("/", ".")

    def find_spec(self, fullname: str, path: Any, target: Any = None) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        return importlib.machinery.ModuleSpec(fullname, self, origin=self.file)

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = self.file
        exec(compile(ast.fix_missing_locations(self.tree), self.file, "exec"), module.__dict__)


class Session:
    """A pytest plugin that holds a session before its collection and hands it on to forked children."""

    def __init__(self, folders: Sequence[str], work: Callable[["Session"], None]) -> None:
        self.folders, self.work, self.is_child = folders, work, False
        self.tests: tuple[str, ...] = ()
        self.seconds: Mapping[str, float] = {}

    def run(self) -> None:
        """Returns in the parent only."""
        options = ["-x", "-s", "-qq", "--tb=no", "--noconftest", "-p", "no:cacheprovider", "-p", "no:xdist"]
        code = pytest.main([*options, *self.folders], plugins=[self])
        if self.is_child:
            os._exit(code)
        if code not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            raise RuntimeError(f"the waiting test session ended with {code!r}")

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self, session: pytest.Session) -> bool | None:
        from hypothesis import HealthCheck, Phase, settings

        settings.register_profile(
            PROFILE, max_examples=25, deadline=None, derandomize=True, database=None,
            phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        settings.load_profile(PROFILE)
        self.plugins = session.config.pluginmanager
        self.work(self)
        if self.tests:
            session.config.args[:] = sorted({file_of(each) for each in self.tests})
        return None if self.is_child else True

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        if self.tests:
            by_name = {item.nodeid: item for item in items}
            items[:] = [by_name[each] for each in self.tests if each in by_name]
        else:
            items.sort(key=lambda item: self.seconds.get(item.nodeid, 0.0))

    def fork(self) -> int:
        """0 in the child, which goes on with the session once `work` returns."""
        sys.stdout.flush()
        child = os.fork()
        if child == 0:
            self.is_child = True
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
        return child

    def start(self, mutant: Mutant, tree: ast.Module, tests: tuple[str, ...]) -> int:
        """A child that runs these tests on the mutant, or all of them, the quick first, up to the first that fails."""
        child = self.fork()
        if child == 0:
            resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            mutant.apply()
            sys.meta_path.insert(0, Changed(mutant.file, tree))
            self.tests = tests
        return child


def outcome_of(status: int) -> Outcome:
    """From the status of a child; RuntimeError when it is the machinery that is broken."""
    code = os.waitstatus_to_exitcode(status)
    if code in (-signal.SIGXCPU, -signal.SIGKILL):
        return "timed out"
    if code == pytest.ExitCode.USAGE_ERROR:
        raise RuntimeError("pytest did not understand how it was called")
    return "survived" if code in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED) else "killed"


class Watch:
    """A pytest plugin for one run without a mutant: which lines of the files each test runs."""

    def __init__(self, files: Sequence[str], into: Path) -> None:
        self.files = {str(Path(file).resolve()): file for file in files}
        self.into, self.seen = into, Seen({}, {})
        self.lines: set[str] = set()

    def trace(self, frame: FrameType, event: str, argument: object) -> Any:
        file = self.files.get(frame.f_code.co_filename)
        if file is None:
            return None
        self.lines.add(f"{file}:{frame.f_lineno}")
        return self.trace

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.lines, began = set(), time.perf_counter()
        sys.settrace(self.trace)
        result = yield
        sys.settrace(None)
        self.seen.seconds[item.nodeid] = time.perf_counter() - began
        for line in self.lines:
            self.seen.tests.setdefault(line, []).append(item.nodeid)
        return result

    def pytest_sessionfinish(self) -> None:
        self.into.write_text(json.dumps(vars(self.seen)), "utf-8")


def watch(session: Session, files: Sequence[str], into: Path) -> Seen | None:
    """None in the child. Raises RuntimeError when the tests fail as they are."""
    child = session.fork()
    if child == 0:
        session.plugins.register(Watch(files, into))
        return None
    _, status = os.waitpid(child, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        raise RuntimeError("the tests fail without any mutant")
    return Seen(**json.loads(into.read_text("utf-8")))
