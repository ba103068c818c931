"""The last contact, last known alive and last known implant status of a patient, in words."""

from datetime import date

from sqlalchemy.orm import Session

from server.models import Patient, Shoulder
from server.queries.last_known import last_known_of
from server.schedule.last_known import Fact, Known
from server.staff.page import words
from server.words import labels
from server.words.phrase import phrase

_REPORTED = {
    Fact.ALIVE: phrase("only reported: alive on %(day)s, %(source)s"),
    Fact.IMPLANT: phrase("only reported: of an implant on %(day)s, %(source)s"),
}


def told(session: Session, patient: Patient, today: date) -> list[tuple[str, str]]:
    """What, and when by which source; each shoulder that has an implant has a line of its own."""
    known = last_known_of(session, patient, today)
    lines = [
        (words.gettext("Last contact"), _said(known.contact)),
        (words.gettext("Last known alive"), _said(known.alive)),
    ]
    if patient.died_on is not None:
        lines[1] = (words.gettext("Died"), words.day(patient.died_on))
    for shoulder in patient.shoulders:
        since = _first_done(shoulder)
        if since is None:
            continue
        said = _said(known.implant.get(shoulder.side))
        if patient.died_on is None and known.implant_lost(shoulder.side, since, today):
            said = words.gettext("%(known)s; lost: nothing known for 24 months") % {"known": said}
        name = words.say(labels.SHOULDER[shoulder.side])
        lines.append((words.gettext("%(shoulder)s, implant last known") % {"shoulder": name}, said))
    for fact, by in known.reported.items():
        if fact in _REPORTED:
            source = words.say(labels.SEEN_BY[by.source])
            lines.append(
                (
                    words.gettext("Said by others"),
                    words.say(_REPORTED[fact]) % {"day": words.day(by.on), "source": source},
                )
            )
    return lines


def _said(known: Known | None) -> str:
    if known is None:
        return words.gettext("not known")
    return f"{words.day(known.on)}, {words.say(labels.SEEN_BY[known.source])}"


def _first_done(shoulder: Shoulder) -> date | None:
    return min((each.surgery_on for each in shoulder.operations if each.surgery_on is not None), default=None)
