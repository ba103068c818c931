"""Any plan as a table for people to read."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from scoring.definition import Definition
from scoring.library import Library
from scoring.plan_parts import part_items
from server.schedule.plan import AfterSurgery, BeforeSurgery, Plan
from server.words.timepoints import year_runs

Entry = BeforeSurgery | AfterSurgery


@dataclass(frozen=True)
class PlanLine:
    """One timepoint, or all years that ask the same in the same window: `years` in order, empty for what is counted otherwise.

    `window` in words. `items`: how many are asked at least, and at most when an answer opens others.
    """

    entry: Entry
    years: tuple[int, ...]
    window: str
    asked: tuple[tuple[Definition, tuple[str, ...] | None], ...]
    items: tuple[int, int]

    @property
    def years_words(self) -> str:
        """Such as "year 1" or "years 3–4, 6–9"; empty for what is not counted in years."""
        spans = (str(first) if first == last else f"{first}–{last}" for first, last in year_runs(self.years))
        return f"year{'s' if len(self.years) > 1 else ''} {', '.join(spans)}" if self.years else ""

    @property
    def items_words(self) -> str:
        least, most = self.items
        return str(most) if least == most else f"{least}–{most}"


def plan_table(plan: Plan, library: Library) -> list[PlanLine]:
    """In the order of time of the first of each line; years that differ in nothing but their number share one."""
    lines: dict[Entry, PlanLine] = {}
    for entry in plan.entries():
        if isinstance(entry, BeforeSurgery) or entry.year is None:
            lines[entry] = _line(entry, (), library)
            continue
        alike, year = replace(entry, code="", title=(), year=0), entry.year
        if alike in lines:
            lines[alike] = replace(lines[alike], years=(*lines[alike].years, year))
        else:
            lines[alike] = _line(entry, (year,), library)
    return list(lines.values())


def _line(entry: Entry, years: tuple[int, ...], library: Library) -> PlanLine:
    asked = tuple((library.instrument(part.instrument), part.items) for part in entry.parts)
    most = [(definition, name) for definition, items in asked for name in part_items(definition, items)]
    least = [name for definition, name in most if definition.by_item[name].asked_if is None]
    return PlanLine(entry, years, window_words(entry), asked, (len(least), len(most)))


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
