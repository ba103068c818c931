"""A follow-up plan in a file of a clinic's own, checked as the shipped ones are."""

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from scoring.data_reader import DataProblem
from scoring.definition import Definition
from scoring.json_file import check_sha256, decode_file, load_file
from scoring.library import Library
from scoring.plan_parts import check_plan_parts
from scoring.strict_json import JsonProblem, shown
from server.schedule.plan import Plan
from server.schedule.plan_parsing import parse_plan

LONGEST_BYTES, LONGEST_TITLE, LONGEST_NOTE = 200_000, 120, 2000


class PlanFileProblem(ValueError):
    """A plan that cannot be used; the message gives the place and the reason."""


@dataclass(frozen=True)
class CheckedPlan:
    """A file that can be installed. `content` is all of it, `sha256` that of its bytes."""

    plan: Plan
    document: Mapping[str, Any]
    content: str
    sha256: bytes

    @property
    def holds_ladder(self) -> bool:
        """Whether it holds a reminder ladder, which is not used: the ladder is a setting of the clinic."""
        return "ladder" in self.document


def check_plan_file(
    data: bytes,
    library: Library,
    *,
    licensed: Collection[str] = (),
    languages: Collection[str] = (),
    stated_sha256: str = "",
) -> CheckedPlan:
    """Raises PlanFileProblem at the first thing that is wrong, with its place.

    `licensed`: what needs its owner's permission and has its licensed text in the clinic asked about. `languages`: those in which a
    phone must be able to head each form. `stated_sha256`: what the sender said the file's hash is, if anything.
    """
    try:
        check_sha256(data, stated_sha256)
        content = decode_file(data, LONGEST_BYTES, "a plan")
        document = load_file(content)
        plan = parse_plan(document)
        check_plan_parts(document, sendable_with(library.definitions, licensed), "plan")
        _check_words(plan, languages)
    except (JsonProblem, DataProblem) as problem:
        raise PlanFileProblem(str(problem).removeprefix("plan ")) from problem
    return CheckedPlan(plan, document, content, hashlib.sha256(data).digest())


def _check_words(plan: Plan, languages: Collection[str]) -> None:
    _check_text("title", plan.title, LONGEST_TITLE)
    _check_text("note", plan.note, LONGEST_NOTE)
    for entry in plan.entries():
        titles = dict(entry.title)
        for language in languages:
            if language not in titles:
                raise DataProblem(
                    f"timepoints {entry.code} title", f"has none in {language}, a language of this clinic"
                )
        for language, title in titles.items():
            _check_text(f"timepoints {entry.code} title {shown(language)}", title, LONGEST_TITLE)


def _check_text(place: str, text: str, longest: int) -> None:
    if len(text) > longest:
        raise DataProblem(place, f"is longer than {longest} characters")
    if not text.isprintable():
        raise DataProblem(place, "holds a sign that cannot be printed")


def sendable_with(definitions: Mapping[str, Definition], licensed: Collection[str]) -> dict[str, Definition]:
    """The definitions, with those that needed permission and have it made usable. What is unverified stays so."""
    return {
        spec: replace(each, status="usable") if each.status == "needs_permission" and spec in licensed else each
        for spec, each in definitions.items()
    }
