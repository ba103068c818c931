"""Operations that stand in both of two records, in words: what is taken over, where both differ, which components go over."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from server.clinic.merge_plan import MergePlan, SideMerge
from server.clinic.same_operation import Completed, SameOperation
from server.fields.component import COMPONENT
from server.fields.field import Field
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import OPERATION_KINDS
from server.models import Operation
from server.staff.page import words
from server.staff.page.recorded_fields import label_of, shown_of
from server.words import labels


@dataclass(frozen=True)
class Differs:
    """A field in the words of either record; `kept` stands, be it nothing."""

    label: str
    kept: str
    other: str
    says_more_of: str


@dataclass(frozen=True)
class InBoth:
    """`fills`: fields that the kept record takes over; `in_both`: how many components stand in both and are counted once."""

    title: str
    fills: list[str]
    differing: list[Differs]
    goes_over: list[str]
    in_both: int


def in_both(plan: MergePlan) -> list[InBoth]:
    """A shoulder that both have, and each operation on it that both have, with anything to tell of it."""
    return [told for side in plan.sides for told in (*_shoulder(side), *(_operation(side, each) for each in side.same))]


def _shoulder(side: SideMerge) -> list[InBoth]:
    if side.completed is None or not (side.completed.fills or side.completed.differing):
        return []
    title = words.sentence(words.say(labels.SHOULDER[side.side]))
    return [InBoth(title, _labels(SHOULDER, side.completed), _differing(side.completed), [], 0)]


def _operation(side: SideMerge, same: SameOperation) -> InBoth:
    fills, differing = _labels(OPERATION, same.completed), _differing(same.completed)
    for each in same.components:
        part = label_of(each.kept)
        fills += [f"{part}: {label}" for label in _labels(COMPONENT, each.completed)]
        differing += [replace(row, label=f"{part}: {words.say(row.label)}") for row in _differing(each.completed)]
    goes_over = [label_of(each) for each in same.goes_over]
    return InBoth(_title(side, same.kept), fills, differing, goes_over, len(same.components))


def _title(side: SideMerge, kept: Operation) -> str:
    day = kept.surgery_on or kept.surgery_planned_on
    named: Mapping[str, str] = {
        "side": words.say(labels.SHOULDER[side.side]).lower(),
        "kind": words.sentence(OPERATION_KINDS[kept.kind]),
        "day": words.day(day) if day else words.gettext("planned"),
    }
    return words.gettext("%(kind)s of the %(side)s, %(day)s") % named


def _differing(completed: Completed) -> list[Differs]:
    return [
        Differs(
            words.say(each.field.label),
            shown_of(each.field, each.kept),
            shown_of(each.field, each.other),
            each.says_more_of,
        )
        for each in completed.differing
    ]


def _labels(fields: tuple[Field, ...], completed: Completed) -> list[str]:
    return [words.say(field.label) for field in fields if field.name in completed.fills]
