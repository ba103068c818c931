"""A follow-up plan in a file of a clinic's own, checked as the shipped ones are; and any plan as a table for people to read."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from scoring.definition import Definition
from scoring.library import Library
from scoring.plan_parts import check_plan_parts, part_items
from scoring.reading import DataProblem
from scoring.strict_json import JsonProblem, load_strict_json
from server.schedule.parsing import parse_plan
from server.schedule.plan import AfterSurgery, BeforeSurgery, Part, Plan, PlanProblem

Entry = BeforeSurgery | AfterSurgery


class PlanFileProblem(ValueError):
    """A plan that cannot be used; the message gives the place and the reason."""


def check_plan_file(data: bytes, library: Library, *, licensed: Collection[str] = ()) -> Plan:
    """Raises PlanFileProblem. `licensed`: what needs its owner's permission and has its licensed text in the clinic asked about."""
    try:
        document = load_strict_json(data)
        plan = parse_plan(document)
        check_plan_parts(document, sendable_with(library.definitions, licensed), "plan")
    except PlanProblem as problem:
        raise PlanFileProblem(str(problem)) from problem
    except (JsonProblem, DataProblem) as problem:
        raise PlanFileProblem(str(problem).removeprefix("plan ")) from problem
    return plan


def sendable_with(definitions: Mapping[str, Definition], licensed: Collection[str]) -> dict[str, Definition]:
    """The definitions, with those that needed permission and have it made usable. What is unverified stays so."""
    return {
        spec: replace(each, status="usable") if each.status == "needs_permission" and spec in licensed else each
        for spec, each in definitions.items()
    }


@dataclass(frozen=True)
class PlanLine:
    """One timepoint, or a run of years that ask the same in windows of the same kind: `last` is then the last of the run.

    `window` in words, days around the day of surgery or its anniversary. `items` counts what is asked at most.
    """

    first: Entry
    last: Entry
    codes: tuple[str, ...]
    window: str
    asked: tuple[tuple[Definition, tuple[str, ...] | None], ...]
    items: int
    minutes: int


def plan_table(plan: Plan, library: Library) -> list[PlanLine]:
    """In the order of time; neighbouring years that differ in nothing but their number share a line."""
    lines: list[PlanLine] = []
    for entry in plan.entries():
        if lines and _alike(lines[-1].last, entry):
            lines[-1] = replace(lines[-1], last=entry, codes=(*lines[-1].codes, entry.code))
        else:
            lines.append(_line(entry, library))
    return lines


def _alike(one: Entry, other: Entry) -> bool:
    if isinstance(one, BeforeSurgery) or isinstance(other, BeforeSurgery) or one.year is None:
        return False
    return replace(one, code="", title=(), year=None) == replace(other, code="", title=(), year=None)


def _line(entry: Entry, library: Library) -> PlanLine:
    asked = tuple((library.instrument(part.instrument), part.items) for part in entry.parts)
    items = sum(_count(part, library) for part in entry.parts)
    return PlanLine(entry, entry, (entry.code,), window_words(entry), asked, items, entry.minutes)


def _count(part: Part, library: Library) -> int:
    return len(part_items(library.instrument(part.instrument), part.items))


def window_words(entry: Entry) -> str:
    """When it opens, is asked, is due and closes, in words."""
    if isinstance(entry, BeforeSurgery):
        early = f"over {entry.early_over_days} days old by then it is early and asked again"
        return f"opens at enrolment, due after {entry.due_days} days, closes at surgery; {early}"
    return ", ".join(_days(entry))


def _days(entry: AfterSurgery) -> Iterator[str]:
    for word, offset in (
        ("opens", entry.opens),
        ("invites", entry.invites),
        ("due", entry.due),
        ("closes", entry.closes),
    ):
        if offset.base == "surgery" or entry.year is None:
            yield f"{word} day {offset.days}"
        elif offset.days == 0:
            yield f"{word} on the anniversary"
        else:
            yield f"{word} {abs(offset.days)} days {'before' if offset.days < 0 else 'after'}"
