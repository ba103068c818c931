"""README.md and DEVELOPERS.md name what exists, and name all of it: commands, options, settings, contracts, files."""

import re
from dataclasses import dataclass
from pathlib import Path

import click
import pytest

from server import cli
from server.config import SETTINGS
from tests.structure.tree import ROOT, modules, project_files, text_of

README, DEVELOPERS = Path("README.md"), Path("DEVELOPERS.md")
# Read by the test suite, not by the server.
SETTINGS_OF_THE_SUITE = {"YEARMARK_CHROMIUM"}
# What others build on. Each is named under "Contracts" in DEVELOPERS.md.
CONTRACTS = {
    "./run demo", "./run test", "./run bench", "./run soak", "demo.json", "yearmark score", "yearmark export",
    "yearmark stats proportion", "yearmark stats change", "yearmark stats preference", "yearmark stats deaths",
    "yearmark stats survival", "yearmark stats intervals",
    "yearmark tick", "yearmark life-table", "yearmark backup", "yearmark restore", "yearmark drill",
    "server/sync/PROTOCOL.md", "/api/openapi.json",
}  # fmt: skip


@dataclass(frozen=True)
class Command:
    """A call of `yearmark` as the documents write it: the words after it, and the options among them."""

    words: tuple[str, ...]
    options: frozenset[str]


def code_in(path: Path) -> list[str]:
    """Every line of a fenced block, and everything in backticks."""
    text = text_of(path)
    fenced = re.findall(r"^```[^\n]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    rest = re.sub(r"^```[^\n]*\n.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    return [line for block in fenced for line in block.splitlines()] + re.findall(r"`([^`\n]+)`", rest)


def documented() -> list[str]:
    return code_in(README) + code_in(DEVELOPERS)


def commands_of_run() -> set[str]:
    """The commands that ./run tells of when it is asked."""
    usage = text_of(Path("run")).split("<<'USAGE'\n")[1].split("\nUSAGE\n")[0]
    return set(re.findall(r"^  ([a-z]+) ", usage, re.MULTILINE))


def commands_of_yearmark() -> dict[tuple[str, ...], click.Command]:
    """Each command that does something, by its words: ("stats", "change")."""
    found: dict[tuple[str, ...], click.Command] = {}
    waiting: list[tuple[tuple[str, ...], click.Command]] = [((), cli.main)]
    while waiting:
        words, command = waiting.pop()
        if isinstance(command, click.Group):
            waiting += [((*words, name), inner) for name, inner in command.commands.items()]
        else:
            found[words] = command
    return found


def calls_of_yearmark(code: list[str]) -> list[Command]:
    calls = []
    for text in code:
        for call in re.findall(r"(?:^|[\s/$|])yearmark((?: [^\s|;&]+)+)", text):
            words = re.match(r"(?: [a-z][a-z-]*)*", call)
            options = frozenset(re.findall(r"(?<=[ \[])--[a-z][a-z-]*", call))
            calls.append(Command(tuple(words[0].split()) if words else (), options))
    return calls


def named(call: Command, commands: dict[tuple[str, ...], click.Command]) -> tuple[str, ...] | None:
    """The command that a call begins with; what follows it are its arguments."""
    return next((words for words in commands if call.words[: len(words)] == words), None)


def section(path: Path, heading: str) -> str:
    """The text under a heading, up to the next heading of the same depth or less."""
    found = re.search(rf"^(#+) {heading}\b[^\n]*\n", text_of(path), re.MULTILINE)
    assert found, f"{path} has no section {heading}"
    rest = text_of(path)[found.end() :]
    following = re.search(rf"^#{{1,{len(found[1])}}} ", rest, re.MULTILINE)
    return rest[: following.start()] if following else rest


def test_every_command_of_run_that_is_named_exists_and_the_other_way_round() -> None:
    told = {name for text in documented() for name in re.findall(r"\./run ([a-z]+)", text)}
    assert told == commands_of_run() != set()


def test_every_command_of_yearmark_that_is_named_exists() -> None:
    commands = commands_of_yearmark()
    groups = {words[:length] for words in commands for length in range(1, len(words))}
    calls = [call for call in calls_of_yearmark(documented()) if call.words not in groups]
    assert [" ".join(call.words) for call in calls if named(call, commands) is None] == []


def test_every_option_of_yearmark_that_is_named_exists() -> None:
    commands = commands_of_yearmark()
    unknown = []
    for call in calls_of_yearmark(documented()):
        words = named(call, commands)
        known = {option for parameter in commands[words].params for option in parameter.opts} if words else set()
        unknown += [f"{' '.join(call.words)} {option}" for option in call.options - known - {"--help"}]
    assert unknown == []


def test_every_command_of_yearmark_is_named() -> None:
    commands = commands_of_yearmark()
    told = {named(call, commands) for call in calls_of_yearmark(documented())}
    assert {" ".join(words) for words in commands if words not in told} == set()


def test_every_setting_that_is_named_exists_and_the_other_way_round() -> None:
    told = {name for text in documented() for name in re.findall(r"\bYEARMARK_[A-Z_]*[A-Z]\b", text)}
    known = {setting.name for setting in SETTINGS}
    assert {name for name in told if name.removesuffix("_FILE") not in known | SETTINGS_OF_THE_SUITE} == set()
    assert known - told == set()


def test_the_contracts_are_named() -> None:
    told = "\n".join(re.findall(r"`([^`]+)`", section(DEVELOPERS, "Contracts")))
    assert {contract for contract in CONTRACTS if contract not in told} == set()


def looks_like_a_file(code: str) -> bool:
    """`server/app.py`, `server/crypto/`, `instruments/<id>/<version>/`; not `/api/due`, `./run`, `a/b` or a call."""
    return bool(re.fullmatch(r"[\w.<>*-]+(/[\w.<>*-]+)*(/|\.(py|md|json|ts|tsx|css|html|toml|txt|sqlite))", code))


def exists(code: str) -> bool:
    """Whether a file or folder of the project has this name, or ends in it. `<id>` stands for any one name."""
    pattern = re.sub(r"<\w+>|\*", "[^/]+", re.escape(code.rstrip("/")).replace(r"\*", "*"))
    ending = re.compile(rf"(?:.*/)?{pattern}")
    places = {str(place) for path in project_files() for place in (path, *path.parents)}
    return any(ending.fullmatch(place) for place in places) or code.removesuffix(".py").replace("/", ".") in modules()


# Made while Yearmark runs or is built, so not among the project's files.
MADE = {"demo.json", "manifest.json", "node_modules/", "server/static/pwa/"}


def test_every_file_that_the_developers_guide_names_exists() -> None:
    told = {code for code in re.findall(r"`([^`\n]+)`", text_of(DEVELOPERS)) if looks_like_a_file(code)}
    assert told, "DEVELOPERS.md names no file"
    assert {code for code in told - MADE if not exists(code)} == set()


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=str)
def test_every_link_of_a_document_leads_to_a_file(document: Path) -> None:
    links = re.findall(r"\]\(([^)#\s]+)", text_of(document))
    ours = {link for link in links if "://" not in link and not link.startswith("mailto:")}
    assert {link for link in ours if not (ROOT / document.parent / link).exists()} == set()


def test_the_way_to_write_calls_is_read_as_it_is_meant() -> None:
    calls = calls_of_yearmark(["yearmark stats change FILE.csv --max 12", ".venv/bin/yearmark tick --data DIR --now T"])
    assert calls[0] == Command(("stats", "change"), frozenset({"--max"}))
    assert calls[1] == Command(("tick",), frozenset({"--data", "--now"}))
    assert calls_of_yearmark(["the yearmark", "hatch build yearmark"]) == []
    assert [code for code in ("server/app.py", "server/crypto/", "/api/due", "./run") if looks_like_a_file(code)] == [
        "server/app.py",
        "server/crypto/",
    ]
