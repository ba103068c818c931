"""The project's own files, and what its Python modules import."""

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SOURCE_SUFFIXES = {".py", ".ts", ".tsx", ".js", ".css", ".html", ".sh"}


@cache
def project_files() -> tuple[Path, ...]:
    """Every file that is or would be committed, relative to the root. Asks git, which knows what is ignored."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    names = (Path(name) for name in listed.split("\0") if name)
    return tuple(sorted(name for name in set(names) if (ROOT / name).is_file()))


def source_files() -> list[Path]:
    """Files written by hand in a programming language."""
    return [path for path in project_files() if path.suffix in SOURCE_SUFFIXES or path.name == "run"]


def python_files(*folders: str) -> list[Path]:
    return [path for path in project_files() if path.suffix == ".py" and path.parts[0] in folders]


@cache
def modules() -> frozenset[str]:
    """The dotted names of all modules and packages of the project."""
    return frozenset(module_name(path) for path in project_files() if path.suffix == ".py")


def text_of(path: Path) -> str:
    """The text of a file, or nothing for a picture or another binary."""
    try:
        return (ROOT / path).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(text_of(path), filename=str(path))


def module_name(path: Path) -> str:
    parts = path.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@dataclass(frozen=True)
class Import:
    """`from server.crypto import derive` is ("server.crypto", "derive"); `import json` is ("json", "")."""

    importer: str
    module: str
    name: str
    line: int

    def __str__(self) -> str:
        return f"{self.importer} line {self.line} imports {f'{self.name} from ' if self.name else ''}{self.module}"


def imports(path: Path) -> Iterator[Import]:
    """Everything that a file imports, in function bodies and under TYPE_CHECKING too."""
    importer = module_name(path)
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            yield from (Import(importer, alias.name, "", node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = node.module or ""
            if node.level:
                package = list(path.parent.parts)
                module = ".".join(filter(None, [*package[: len(package) - node.level + 1], module]))
            for alias in node.names:
                # A name that is itself a module of ours counts as that module.
                inner = f"{module}.{alias.name}"
                yield Import(importer, inner if inner in modules() else module, alias.name, node.lineno)
