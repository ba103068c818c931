"""The flags of one patient: what waits for a person, and what was settled, when, by whom and with which note."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Envelope, Flag, Link, Patient
from server.queries.chosen import Asked, Chosen, CipherOf, chosen_options
from server.queries.pause import of_link
from server.words import labels
from server.words.phrase import Phrase
from server.worklist.words import topics, unread


@dataclass(frozen=True)
class ShownFlag:
    """All flags of one kind that one response raised, which are settled together. `flag` is the first, `by` empty while it is open.

    `unread`: why the option that was chosen is not named.
    """

    flag: Flag
    kind: Phrase
    topics: Phrase | str
    unread: Phrase | None
    by: str


def flags_of(
    session: Session, patient: Patient, library: Library, cipher_of: CipherOf, staff: Mapping[int, str]
) -> tuple[list[ShownFlag], list[ShownFlag]]:
    """The open ones, oldest first, and the settled ones, newest first."""
    alike: dict[tuple[str, int, bool], list[Flag]] = {}
    for flag in session.scalars(select(Flag).where(Flag.patient_id == patient.id).order_by(Flag.raised_at, Flag.id)):
        alike.setdefault((flag.kind, flag.response_id or -flag.id, flag.settled_at is None), []).append(flag)
    asked = {
        (flag.response_id, flag.item) for flags in alike.values() for flag in flags if flag.response_id and flag.item
    }
    chosen = chosen_options(session, asked, cipher_of, library)
    shown = [_shown(flags, chosen, library, staff) for flags in alike.values()]
    still_open = [each for each in shown if each.flag.settled_at is None]
    return still_open, [each for each in reversed(shown) if each.flag.settled_at is not None]


def _shown(flags: list[Flag], options: Mapping[Asked, Chosen], library: Library, staff: Mapping[int, str]) -> ShownFlag:
    first = flags[0]
    asked = [(flag.item, options.get((flag.response_id or 0, flag.item))) for flag in flags if flag.item]
    why = unread(each for _item, each in asked) if first.kind == "safety_answer" else None
    by = staff.get(first.settled_by_id or 0, "")
    return ShownFlag(first, labels.FLAG[first.kind], topics(asked, library), why, by)


def held_of(session: Session, patient: Patient) -> list[Envelope]:
    """What came by a link of this patient and could not be used: of what is alike the oldest, as the list of held envelopes has it."""
    links = select(Link.lookup_hash).join(Patient, Patient.id == Link.patient_id).where(of_link == patient.id)
    groups = select(func.min(Envelope.id)).where(text("envelope.state = 'held'"), Envelope.lookup_hash.in_(links))
    alike = groups.group_by(Envelope.lookup_hash, Envelope.held_reason, Envelope.held_notice)
    return list(session.scalars(select(Envelope).where(Envelope.id.in_(alike)).order_by(Envelope.id)))
