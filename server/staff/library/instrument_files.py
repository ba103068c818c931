"""What lies beside a definition in its folder and is read by people only: worked examples, and where each fact comes from."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from markupsafe import Markup, escape

from scoring.strict_json import load_strict_json

_BOLD = re.compile(r"\*\*(.+?)\*\*")
_CODE = re.compile(r"`(.+?)`")


@dataclass(frozen=True)
class Example:
    """`answers` by item and `scales` by name, None for not answered and not scored."""

    title: str
    source: str
    answers: Mapping[str, Any]
    scales: Mapping[str, Any]


@dataclass(frozen=True)
class Told:
    """One paragraph of SOURCE.md, escaped. `lead` is its first words in bold, without their full stop."""

    lead: str
    text: Markup


@cache
def examples_of(instrument: str, version: str) -> tuple[Example, ...]:
    document = load_strict_json((_folder(instrument, version) / "examples.json").read_bytes())
    return tuple(
        Example(each["title"], each["source"], each["answers"], each["scales"]) for each in document["examples"]
    )


@cache
def source_of(instrument: str, version: str) -> tuple[Told, ...]:
    """The paragraphs below the heading."""
    text = (_folder(instrument, version) / "SOURCE.md").read_text("utf-8")
    return tuple(_told(part) for part in re.split(r"\n\s*\n", text) if part.strip() and not part.startswith("#"))


def _folder(instrument: str, version: str) -> Traversable:
    return files("instruments") / instrument / version


def _told(part: str) -> Told:
    joined = " ".join(part.split())
    lead = _BOLD.match(joined)
    rest = joined[lead.end() :].strip() if lead else joined
    marked = _CODE.sub(r"<code>\1</code>", _BOLD.sub(r"<b>\1</b>", str(escape(rest))))
    return Told(lead[1].rstrip(".") if lead else "", Markup(marked))  # escaped before the marks were put in
