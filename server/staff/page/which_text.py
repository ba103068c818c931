"""Which of the clinic's texts a consent was given to, as a field of a form: the one in force on the day, a named one, or one on paper."""

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from server.clinic.agreed_text import IN_FORCE, NOTICE, TYPED
from server.fields.field import Field, Kind, named
from server.fields.person import CONSENT
from server.queries.clinic_notices import NoticeVersion, notice_versions
from server.queries.clock import clinic_day, the_clinic
from server.staff.page import words
from server.words import labels

TYPED_VERSION = named(CONSENT, "version")


def which_text(session: Session, kinds: Collection[str], *, in_force: bool) -> tuple[Field, ...]:
    """The choice and the typed version beside it; the latter alone where the clinic has had no text of these kinds.

    `in_force`: whether the text of the day of the consent may be left to the program.
    """
    clinic = the_clinic(session)
    found = [each for each in notice_versions(session) if each.kind in kinds]
    if not found:
        return (TYPED_VERSION,)

    def day(at: datetime) -> str:
        return words.short_day(clinic_day(clinic, at))

    offered = {IN_FORCE: words.gettext("the one in force")} if in_force else {}
    for version in found:
        about = f"{words.sentence(words.say(labels.NOTICE[version.kind]))}: " if len(kinds) > 1 else ""
        offered |= {text_id: f"{about}{said}" for text_id, said in _texts(version, day(version.since))}
    offered[TYPED] = words.gettext("one that is not here, such as an older paper")
    label = words.gettext("Text that was read")
    hint = words.gettext("In force that day, in the patient’s language, unless another is chosen.") if in_force else ""
    choice = Field(NOTICE, label, Kind.CHOICE, "consent", words=offered, hint=hint, stays=TYPED_VERSION.stays)
    return choice, replace(TYPED_VERSION, hint=words.gettext("Only of a text that is not here."))


def _texts(version: NoticeVersion, since: str) -> Iterator[tuple[str, str]]:
    for code, text in version.texts.items():
        told = {"word": version.version, "language": words.language(code), "since": since}
        yield str(text.id), words.gettext("version %(word)s, %(language)s, from %(since)s") % told
