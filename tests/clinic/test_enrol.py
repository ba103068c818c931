"""Enrolling: what is kept, and that nothing is kept of what is refused."""

from datetime import date

import pytest
from sqlalchemy import func, select

from server.clinic.duplicates import possible_duplicates
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.likeness import Likeness
from server.fields.check import in_english
from server.models import AuditEntry, Consent, FollowUp, Operation, Patient
from server.queries.coverage import read_lines
from server.queries.facts import standing_of
from server.schedule.status import Reason
from tests.clinic.cast import DONE, PLANNED, Desk, ada_but, but, with_shoulders
from tests.storehouse import NOW, TODAY

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_an_enrolled_patient_has_consents_shoulder_operation_and_follow_up(desk: Desk) -> None:
    with desk.store.writing() as session:
        desk.enrol(session)
    with desk.store.reading() as session:
        patient = session.scalars(select(Patient)).one()
        assert (patient.study_number, patient.first_name, patient.birth_year) == ("Y-0001", "Ada", 1957)
        assert [(each.kind, each.given_on) for each in patient.consents] == [("contact", TODAY), ("research", TODAY)]
        operation = patient.shoulders[0].operations[0]
        assert (operation.position, operation.kind, operation.surgery_on) == (1, "index", DONE.values["surgery_on"])
        follow_up = operation.follow_ups[0]
        assert (follow_up.plan_id, follow_up.started_on) == ("standard", TODAY)
        assert "year-1" in [row.code for row in follow_up.timepoints]
        assert [line.operation_id for line in read_lines(session)] == [operation.id]
        actions = set(session.scalars(select(AuditEntry.action)))
        assert {"patient:enrolled", "operation:entered"} <= actions


def test_names_and_contacts_lie_sealed_and_never_in_the_audit_trail(desk: Desk) -> None:
    with desk.store.writing() as session:
        desk.enrol(session)
    with desk.store.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT first_name, last_name, email, birth_on FROM patient").all()
        trail = connection.exec_driver_sql("SELECT action, thing, detail FROM audit_entry").all()
    stored = b" ".join(bytes(value) for row in rows for value in row)
    secrets = ("Ada", "Ardent", "ada@example.org", "1957-03-28")
    assert stored
    assert trail
    assert [secret for secret in secrets if secret.encode() in stored or secret in str(trail)] == []


def test_the_key_exists_before_the_row_and_remains_when_the_row_does_not(desk: Desk) -> None:
    handles: list[str] = []

    def fails(handle: str) -> None:
        handles.append(handle)
        raise OSError("the disk is full")

    broken = Desk(desk.store, desk.keys)
    object.__setattr__(broken.keys, "new_patient_key", fails)
    with pytest.raises(OSError, match="disk is full"), desk.store.writing() as session:
        broken.enrol(session)
    with desk.store.reading() as session:
        assert len(handles) == 1
        assert session.scalar(select(func.count()).select_from(Patient)) == 0


def test_surgery_decades_back_makes_every_row_and_nobody_miss_anything(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(but(DONE, surgery_on=date(1998, 3, 2))))
        rows = sorted(patient.shoulders[0].operations[0].follow_ups[0].timepoints, key=lambda row: row.opens_on)
        assert [row.code for row in rows] == ["baseline", "week-6", *(f"year-{year}" for year in range(1, 30))]
        assert {standing_of(row, TODAY).reason for row in rows[:-2]} == {Reason.ENROLLED_LATER}
        assert [row.done_at for row in rows[:-2]] == [NOW] * 29, "nobody need look at them again"
        assert [standing_of(row, TODAY).status for row in rows[-2:]] == ["open", "upcoming"]
        assert rows[-2].invites_on == TODAY


def test_two_shoulders_are_two_follow_ups(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE, PLANNED))
        assert [each.side for each in patient.shoulders] == ["left", "right"]
        assert session.scalar(select(func.count()).select_from(FollowUp)) == 2
        planned = patient.shoulders[1].operations[0]
        assert [row.code for row in planned.follow_ups[0].timepoints] == ["baseline"]
        assert [line.side for line in read_lines(session)] == ["left"], "what is planned is no line yet"


def test_study_numbers_go_on_from_the_highest(desk: Desk) -> None:
    with desk.store.writing() as session:
        numbers = [desk.enrol(session, ada_but(study_number=given)).study_number for given in ("Y-0417", "", "B-9", "")]
    assert numbers == ["Y-0417", "Y-0418", "B-9", "Y-0419"]


def test_study_numbers_grow_beyond_four_figures(desk: Desk) -> None:
    with desk.store.writing() as session:
        desk.enrol(session, ada_but(study_number="Y-9999"))
        assert desk.enrol(session).study_number == "Y-10000"
        assert desk.enrol(session).study_number == "Y-10001"


def test_a_number_that_is_taken_is_refused_and_nothing_is_kept(desk: Desk) -> None:
    with desk.store.writing() as session:
        desk.enrol(session, ada_but(study_number="Y-0007"))
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        desk.enrol(session, ada_but(study_number="Y-0007"))
    assert "belongs to another patient" in in_english(refused.value.errors["study_number"])[0]
    with desk.store.reading() as session:
        assert session.scalar(select(func.count()).select_from(Patient)) == 1


@pytest.mark.parametrize(
    ("shoulder", "field"),
    [
        (but(DONE, surgery_on=date(2026, 6, 16)), "left_surgery_on"),
        (but(DONE, surgery_on=date(1957, 3, 27)), "left_surgery_on"),
        (but(DONE, surgery_on=date(1949, 12, 31)), "left_surgery_on"),
        (but(PLANNED, surgery_planned_on=date(2026, 6, 14)), "right_surgery_planned_on"),
        (but(PLANNED, surgery_on=date(2026, 6, 1)), "right_surgery_on"),
    ],
    ids=["done after today", "before birth", "before 1950", "planned in the past", "planned and done"],
)
def test_an_impossible_day_of_surgery_is_refused(desk: Desk, shoulder: ShoulderEntry, field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        desk.enrol(session, with_shoulders(shoulder))
    assert list(refused.value.errors) == [field]
    with desk.store.reading() as session:
        assert session.scalar(select(func.count()).select_from(Operation)) == 0
        assert session.scalar(select(func.count()).select_from(Consent)) == 0


def test_a_language_that_the_clinic_does_not_have_is_refused(desk: Desk) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        desk.enrol(session, ada_but(language="fr"))
    assert list(refused.value.errors) == ["language"]


@pytest.mark.parametrize(
    ("first_name", "last_name", "born", "found"),
    [
        ("Ádá", "Ardént", date(1957, 8, 1), Likeness.SAME),
        ("Ardent", "Ada", date(1975, 3, 28), Likeness.SAME),
        ("Bea", "Ardent", date(1957, 3, 28), Likeness.TWIN),
        ("Bea", "Other", date(1931, 1, 2), Likeness.CONTACT),
    ],
)
def test_who_is_alike_is_found_among_the_enrolled(
    desk: Desk, first_name: str, last_name: str, born: date, found: Likeness
) -> None:
    with desk.store.writing() as session:
        desk.enrol(session)
        like = ada_but(first_name=first_name, last_name=last_name, birth_on=born)
        assert [each.likeness for each in possible_duplicates(session, like.person)] == [found]
        stranger = ada_but(first_name="Cleo", last_name="Other", birth_on=born, email="cleo@example.org")
        assert possible_duplicates(session, stranger.person) == []
