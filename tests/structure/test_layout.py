"""The folders of the project, the size of its files and functions, and what no file of it may hold."""

import ast
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.structure.tree import ROOT, parsed, project_files, python_files, source_files, text_of

FOLDERS = {"instruments", "scoring", "server", "pwa", "tests", ".ci"}
TOP_FILES = {
    ".gitignore", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "README.md", "hatch_build.py", "pyproject.toml",
    "requirements-node.lock.txt", "requirements-test.lock.txt", "requirements.lock.txt", "run",
}  # fmt: skip
MOST_LINES_A_FILE, MOST_LINES_A_TEST_FILE, MOST_LINES_A_FUNCTION = 500, 400, 65
# Written by the migration tool from the models, and never touched again.
GENERATED = Path("server/migrations/versions")
SAYS_NOTHING = {"utils", "util", "helpers", "helper", "misc", "common"}
# Put together here, so that this file does not hold what it looks for.
REGISTRY_HOSTS = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "org"), ("npmjs", "com"), ("yarnpkg", "com"),
        ("deb", "debian", "org"), ("crates", "io"), ("golang", "org"),
    )
]  # fmt: skip
MACHINE_PATHS = re.compile(r"(?<![\w.:/-])/(?:" + "|".join(["work", "root", "home", "opt"]) + r")/\w")
UNFINISHED = re.compile("|".join(["TO" + "DO", "FIX" + "ME", r"\bXX" + r"X\b", "NotImplemented" + "Error"]))


def lines(path: Path) -> int:
    return text_of(path).count("\n")


def test_there_is_no_other_top_level_folder() -> None:
    assert {path.parts[0] for path in project_files() if len(path.parts) > 1} <= FOLDERS


def test_every_top_level_file_is_known_and_there() -> None:
    assert {path.name for path in project_files() if len(path.parts) == 1} == TOP_FILES


def test_no_source_file_is_too_long() -> None:
    def limit(path: Path) -> int:
        return MOST_LINES_A_TEST_FILE if path.name.startswith("test_") else MOST_LINES_A_FILE

    by_hand = [path for path in source_files() if path.parent != GENERATED]
    assert {str(path): lines(path) for path in by_hand if lines(path) > limit(path)} == {}


def test_no_function_is_too_long() -> None:
    found = {}
    for path in python_files("server", "scoring", "tests", "hatch_build.py"):
        for node in ast.walk(parsed(path)) if path.parent != GENERATED else ():
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                length = (node.end_lineno or node.lineno) - node.lineno + 1
                if length > MOST_LINES_A_FUNCTION:
                    found[f"{path}:{node.lineno} {node.name}"] = length
    assert found == {}


def test_every_public_function_that_is_not_short_says_what_it_does() -> None:
    found = []
    for path in python_files("server", "scoring"):
        module = parsed(path)
        classes = [node for node in module.body if isinstance(node, ast.ClassDef)]
        owners: list[ast.Module | ast.ClassDef] = [module, *classes]
        functions = [node for owner in owners for node in owner.body if isinstance(node, ast.FunctionDef)]
        for function in functions if path.parent != GENERATED else ():
            lines_of_it = (function.end_lineno or function.lineno) - function.lineno + 1
            if lines_of_it >= 15 and not function.name.startswith("_") and not ast.get_docstring(function):
                found.append(f"{path}:{function.lineno} {function.name}")
    assert found == []


def asserts(test: ast.FunctionDef) -> tuple[int, int]:
    """How many assertions a test makes outside loops, counting `pytest.raises` as one, and how many inside."""
    loops = [node for node in ast.walk(test) if isinstance(node, ast.For | ast.While)]
    inside = {id(node) for loop in loops for node in ast.walk(loop) if isinstance(node, ast.Assert)}
    every = [node for node in ast.walk(test) if isinstance(node, ast.Assert)]
    raises = sum("'raises'" in ast.dump(node) for node in ast.walk(test) if isinstance(node, ast.withitem))
    return len(every) - len(inside) + raises, len(inside)


def test_no_test_asserts_only_in_a_loop_that_may_be_empty() -> None:
    found = []
    for path in python_files("tests"):
        tests = [node for node in ast.walk(parsed(path)) if isinstance(node, ast.FunctionDef)]
        for test in (each for each in tests if each.name.startswith("test_")):
            outside, inside = asserts(test)
            if inside and not outside:
                found.append(f"{path}:{test.lineno} {test.name}")
    assert found == []


def test_the_check_of_loops_sees_what_it_forbids() -> None:
    def counted(body: str) -> tuple[int, int]:
        (test,) = ast.parse(f"def test_it():\n{body}").body
        assert isinstance(test, ast.FunctionDef)
        return asserts(test)

    assert counted("    for each in found:\n        assert each") == (0, 1)
    assert counted("    assert found\n    for each in found:\n        assert each") == (1, 1)
    assert counted("    with pytest.raises(ValueError):\n        read()") == (1, 0)


def test_no_module_has_a_name_that_says_nothing() -> None:
    assert [str(path) for path in source_files() if path.stem.lower() in SAYS_NOTHING] == []


@pytest.mark.parametrize("host", REGISTRY_HOSTS)
def test_no_file_names_a_package_registry(host: str) -> None:
    assert [str(path) for path in project_files() if host in text_of(path)] == []


def test_no_file_names_a_path_of_one_machine() -> None:
    found = [f"{path}: {match[0]}" for path in project_files() for match in MACHINE_PATHS.finditer(text_of(path))]
    assert found == []


def test_nothing_is_left_unfinished() -> None:
    assert [str(path) for path in source_files() if UNFINISHED.search(text_of(path))] == []


@pytest.mark.parametrize("lock", [path for path in project_files() if path.name.endswith(".lock.txt")], ids=str)
def test_python_locks_hold_hashes_and_no_address(lock: Path) -> None:
    text = text_of(lock)
    assert not re.search(r"://|^-|file:| @ ", text, re.MULTILINE)
    for entry in re.split(r"\n(?=\w)", text.strip()):
        assert re.match(r"[a-z0-9._-]+==\S+", entry) and "--hash=sha256:" in entry, entry


def test_the_phone_s_lock_holds_no_address() -> None:
    assert '"resolved"' not in text_of(Path("pwa/package-lock.json"))


def test_the_locks_satisfy_what_the_project_asks_for() -> None:
    project = tomllib.loads(text_of(Path("pyproject.toml")))
    groups = project["dependency-groups"]
    asked_for = {
        "requirements.lock.txt": project["project"]["dependencies"] + groups["build"],
        "requirements-test.lock.txt": project["project"]["dependencies"] + groups["build"] + groups["test"],
        "requirements-node.lock.txt": groups["node"],
    }
    assert all(asked_for.values())
    for lock, wanted in asked_for.items():
        pinned = dict(re.findall(r"^([a-z0-9._-]+)==(\S+)", text_of(Path(lock)), re.MULTILINE))
        for requirement in map(Requirement, wanted):
            version = pinned.get(requirement.name.lower().replace("_", "-"))
            assert version and requirement.specifier.contains(version), f"{lock}: {requirement}"


def test_the_build_hook_asks_for_the_node_of_the_lock() -> None:
    wanted = tomllib.loads(text_of(Path("pyproject.toml")))["dependency-groups"]["node"]
    assert f'NODE_WHEEL = "{wanted[0]}"' in text_of(Path("hatch_build.py"))


def test_what_is_started_by_name_may_be_executed() -> None:
    assert all((ROOT / name).stat().st_mode & 0o111 for name in ("run", ".ci/run"))
