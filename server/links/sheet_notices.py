"""The clinic's words that a due sheet carries: the privacy notice in force, and the very texts to which a patient agreed.

A consent brings the one text that was read. Its version in other languages would pass for what was agreed to, also where a language came
later; and all texts in all languages made a sheet of megabytes, which is sent at each visit.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import BindParameter, and_, bindparam, or_, select, tuple_
from sqlalchemy.orm import Session

from server.fields.person import CONSENT_KINDS, PRIVACY
from server.models import Clinic, ClinicNotice, Consent, Patient
from server.queries.clinic_notices import NoticeVersion, by_version, in_force, is_altered, paragraphs
from server.queries.clock import clinic_day

_PATIENTS: BindParameter[list[int]] = bindparam("patients", expanding=True)
_STANDING = and_(Consent.patient_id.in_(_PATIENTS), Consent.withdrawn_on.is_(None), Consent.set_aside_at.is_(None))
# The newest of a kind comes last. One without a text tells that what stands has none.
_CONSENTS = (
    select(Consent.patient_id, Consent.kind, Consent.given_on, ClinicNotice.version, ClinicNotice.language)
    .join(ClinicNotice, Consent.notice_id == ClinicNotice.id, isouter=True)
    .where(_STANDING)
    .order_by(Consent.given_on, Consent.id)
)
_AGREED = (
    select(ClinicNotice.kind, ClinicNotice.version)
    .join(Consent, Consent.notice_id == ClinicNotice.id)
    .where(_STANDING)
    .distinct()
)
_TEXTS = (
    select(ClinicNotice)
    .where(
        or_(
            and_(ClinicNotice.kind == PRIVACY, ClinicNotice.replaced_at.is_(None)),
            tuple_(ClinicNotice.kind, ClinicNotice.version).in_(_AGREED),
        )
    )
    .order_by(ClinicNotice.id)
)


@dataclass(frozen=True)
class Agreed:
    """`language`: in which it was read."""

    version: NoticeVersion
    given_on: str
    language: str


@dataclass(frozen=True)
class Notices:
    """`agreed`: by patient, in the order of the kinds."""

    clinic: Clinic
    privacy: NoticeVersion | None
    agreed: Mapping[int, Sequence[Agreed]]

    def of(self, patient: Patient) -> list[dict[str, Any]]:
        """As the due sheet has them; without those that have no sound text in a language of theirs."""
        languages = (*self.clinic.languages.split(","), patient.language)
        told = [self._told(self.privacy, None, languages)] if self.privacy else []
        told += [self._told(each.version, each.given_on, (each.language,)) for each in self.agreed.get(patient.id, ())]
        return [each for each in told if each["texts"]]

    def _told(self, version: NoticeVersion, given_on: str | None, languages: Iterable[str]) -> dict[str, Any]:
        return {
            "kind": version.kind,
            "version": version.version,
            "since": clinic_day(self.clinic, version.since).isoformat(),
            "given_on": given_on,
            "texts": {
                language: {"title": row.title, "paragraphs": paragraphs(row.content)}
                for language in dict.fromkeys(languages)
                if (row := version.texts.get(language)) is not None and not is_altered(row)
            },
        }


def read_notices(session: Session, patients: list[int], clinic: Clinic) -> Notices:
    """Of these patients, in two statements."""
    versions = by_version(session.scalars(_TEXTS, {"patients": patients}))
    named = {(each.kind, each.version): each for each in versions}
    newest: dict[int, dict[str, Agreed | None]] = {}
    for row in session.execute(_CONSENTS, {"patients": patients}):
        agreed = row.version and Agreed(named[row.kind, row.version], row.given_on.isoformat(), row.language)
        newest.setdefault(row.patient_id, {})[row.kind] = agreed or None
    by_patient = {
        patient: [found for kind in CONSENT_KINDS if (found := of_kind.get(kind)) is not None]
        for patient, of_kind in newest.items()
    }
    return Notices(clinic, in_force(versions, PRIVACY), by_patient)
