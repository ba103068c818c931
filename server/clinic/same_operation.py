"""One operation that stands in two records: what the kept one lacks, where both differ, which components are in both. Writes nothing."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from server.fields.component import COMPONENT
from server.fields.field import OTHER, Field
from server.fields.operation import OPERATION
from server.models import Base, Component, Operation

# Fields of an operation that say more of another one, beside the texts of `other`.
SAYS_MORE_OF: Mapping[str, str] = {
    "place_name": "place",
    "known_by_other": "known_by",
    "further_reasons": "reason",
    "diagnosis_stage": "diagnosis",
    "fixation": "implant_type",
    "cancelled_reason": "cancelled_on",
}
# Two components whose labels differ in one of these are two.
_LABEL = ("udi", "maker", "model", "catalogue_number", "size", "lot", "serial", "device_identifier")


@dataclass(frozen=True)
class Differing:
    """A field that says something else in the row of the other record; what the kept one says stands, be it nothing.

    `says_more_of`: the label of the field on whose account nothing stands, since it says something else in the other record.
    """

    field: Field
    kept: Base
    other: Base
    says_more_of: str = ""


@dataclass(frozen=True)
class Completed:
    """`fills`: columns that are empty in the kept row and not in the other."""

    fills: Mapping[str, Any]
    differing: list[Differing]


@dataclass(frozen=True)
class SameComponent:
    kept: Component
    other: Component
    completed: Completed


@dataclass(frozen=True)
class SameOperation:
    """`goes_over`: components that the kept operation lacks; they are put in there."""

    kept: Operation
    other: Operation
    completed: Completed
    components: list[SameComponent]
    goes_over: list[Component]


def same_operation(kept: Operation, other: Operation) -> SameOperation:
    components = _same_components(_there(kept), _there(other))
    in_both = {each.other.id for each in components}
    goes_over = [each for each in _there(other) if each.id not in in_both]
    return SameOperation(kept, other, completed(OPERATION, kept, other, SAYS_MORE_OF), components, goes_over)


def completed(
    fields: Collection[Field], kept: Base, other: Base, says_more_of: Mapping[str, str] = MappingProxyType({})
) -> Completed:
    """What the other row adds to the kept one, and where they contradict each other.

    What says more of another field is taken over only where that one says the same in both.
    """
    fills: dict[str, Any] = {}
    differing = []
    labels = {field.name: field.label for field in fields}
    for field in fields:
        here, there = getattr(kept, field.name), getattr(other, field.name)
        if there is None or _alike(here, there):
            continue
        of = field.beside or says_more_of.get(field.name)
        if here is None and (of is None or fills.get(of, getattr(kept, of)) == getattr(other, of)):
            fills[field.name] = there
            if field.precision:
                fills[field.precision] = getattr(other, field.precision)
        else:
            why = labels.get(of, "") if of is not None and here is None else ""
            differing.append(Differing(field, kept, other, why))
    return Completed(fills, differing)


def _there(operation: Operation) -> list[Component]:
    return [each for each in operation.put_in if each.struck_at is None]


def _same_components(kept: list[Component], other: list[Component]) -> list[SameComponent]:
    """Each with one of the other record at most, those first that have most of their labels in common."""
    pairs = [(_in_common(one, two), one, two) for two in other for one in kept if _can_be_one(one, two)]
    found: list[SameComponent] = []
    for _common, one, two in sorted(pairs, key=lambda pair: (-pair[0], pair[2].id, pair[1].id)):
        if all(one is not each.kept and two is not each.other for each in found):
            found.append(SameComponent(one, two, completed(COMPONENT, one, two)))
    return found


def _can_be_one(one: Component, two: Component) -> bool:
    """The same part, and nothing on the labels that speaks against it."""
    if one.role != two.role or (one.role == OTHER and not _alike(one.role_other, two.role_other)):
        return False
    labels = [(getattr(one, name), getattr(two, name)) for name in _LABEL]
    return all(here is None or there is None or _alike(here, there) for here, there in labels)


def _in_common(one: Component, two: Component) -> int:
    return sum(getattr(one, name) is not None and _alike(getattr(one, name), getattr(two, name)) for name in _LABEL)


def _alike(here: object, there: object) -> bool:
    """Capitals, spaces and hyphens do not matter: labels are typed by hand."""
    if isinstance(here, str) and isinstance(there, str):
        return _bare(here) == _bare(there)
    return here == there


def _bare(text: str) -> str:
    return text.casefold().replace(" ", "").replace("-", "")
