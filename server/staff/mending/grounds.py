"""Who confirmed, when and how, that answers belong where they are put: read from a form."""

from collections.abc import Mapping

from server.clinic.misplaced import Ground
from server.fields.change import CONFIRMED
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.staff.mending.acts import read
from server.staff.page import words


def ground_of(form: Mapping[str, str]) -> Ground:
    """The patient's own word. Raises EntryRefused unless all three are there."""
    entry = read(CONFIRMED, form)
    needed = words.gettext("Without who, when and how the answers are set aside.")
    missing: Errors = {name: [needed] for name in entry if entry[name] is None}
    if missing:
        raise EntryRefused(missing)
    return Ground(
        "patient",
        confirmed_by=entry.text("confirmed_by"),
        confirmed_on=entry.day("confirmed_on"),
        confirmed_how=entry.text("confirmed_how"),
    )
