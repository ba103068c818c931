"""The last contact, last known alive and last known implant status of a patient, in words."""

from datetime import date

from sqlalchemy.orm import Session

from server.clinic.later_facts import later_facts
from server.models import Patient, Shoulder
from server.queries.facts import death_by
from server.queries.last_known import last_known_of
from server.schedule.last_known import Known, State
from server.staff.page import words
from server.words import labels


def told(session: Session, patient: Patient, today: date) -> list[tuple[str, str]]:
    """What, and when by which source; each shoulder that has an implant has a line of its own."""
    known = last_known_of(session, patient, today)
    lines = [
        (words.gettext("Last contact"), _said(known.contact)),
        (words.gettext("Last known alive"), _said(known.alive)),
    ]
    died = death_by(patient)
    if patient.died_on is not None and died is not None:
        lines[1] = (words.gettext("Died"), words.exact_day(patient.died_on, patient.died_precision))
        later = later_facts(session, patient, died, of_a_death=True)
        lines += [(words.gettext("Recorded of a day after the death"), sentence) for sentence in later]
    for shoulder in patient.shoulders:
        since = _first_done(shoulder)
        if since is None:
            continue
        said = _said(known.implant.get(shoulder.side))
        if patient.died_on is None and known.implant_lost(shoulder.side, since, today):
            said = words.gettext("%(known)s; lost: nothing known for 24 months") % {"known": said}
        name = words.say(labels.SHOULDER[shoulder.side])
        lines.append((words.gettext("%(shoulder)s, implant last known") % {"shoulder": name}, said))
        reported = known.reported_implant.get(shoulder.side)
        if reported is not None:
            lines.append((words.gettext("%(shoulder)s, only reported") % {"shoulder": name}, _said(reported)))
    if known.reported_alive is not None:
        lines.append((words.gettext("Alive, only reported"), _said(known.reported_alive)))
    return lines


def _said(known: Known | None) -> str:
    if known is None:
        return words.gettext("not known")
    said = f"{words.day(known.on)}, {words.say(labels.SEEN_BY[known.source])}"
    if known.state == State.OPERATED_NOT_RECORDED:
        return words.gettext("%(known)s; operated again, and that operation is not recorded yet") % {"known": said}
    return said


def _first_done(shoulder: Shoulder) -> date | None:
    return min((each.surgery_on for each in shoulder.operations if each.surgery_on is not None), default=None)
