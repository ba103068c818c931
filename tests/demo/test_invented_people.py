"""Nobody is real, and the same day gives the same clinic."""

import re
from datetime import timedelta

from sqlalchemy import select

from server.clinic.checks import check_enrolment
from server.demo.cast import fresh_person
from server.demo.invent import PATIENTS, invent_clinic
from server.demo.life import enrolment_of
from server.demo.names import GROUPS
from server.demo.seed import NUMBERS, STAFF
from server.models import Flag, Patient
from server.queries.clock import the_clinic
from tests.demo.play import TODAY, Demo

FICTION = re.compile(r"\+44 7700 900\d{3}")  # Ofcom: numbers for use in drama
RESERVED = re.compile(r"[a-z.-]+@(patient|clinic)\.example")  # RFC 2606
A_NUMBER = re.compile(r"\+?\d[\d ()-]{6,}\d")


def test_every_address_and_number_is_reserved_for_fiction(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        patients = list(session.scalars(select(Patient)))
        details = [text for text in session.scalars(select(Flag.detail)) if text]
        clinic = the_clinic(session)
    assert all(patient.email is None or RESERVED.fullmatch(patient.email) for patient in patients)
    written = [f"{patient.phone} {patient.second_contact}" for patient in patients] + details
    numbers = [found for text in written for found in A_NUMBER.findall(text)]
    assert len(numbers) >= len(patients)
    assert all(FICTION.fullmatch(number) for number in numbers)
    assert {clinic.phone, clinic.closed_phone, clinic.emergency_number} == set(NUMBERS.values())
    assert all(re.fullmatch(r"555[- ]01\d\d", number) for number in NUMBERS.values())
    assert all(RESERVED.fullmatch(email) for _, email, _ in STAFF)


def test_every_name_comes_from_the_made_up_lists_and_occurs_once(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        one_person = select(Patient).where(Patient.merged_into_id.is_(None))
        names = [(each.first_name, each.last_name) for each in session.scalars(one_person)]
    assert len(set(names)) == len(names)
    assert {first for first, _ in names} <= {first for group in GROUPS for first in (*group.women, *group.men)}
    assert {last for _, last in names} <= {last for group in GROUPS for last in group.family}


def test_the_clinic_says_that_it_is_a_demonstration(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        clinic = the_clinic(session)
    assert clinic.mode == "demo" and "demo" in clinic.name


def test_the_same_day_tells_the_same_stories_and_another_day_moves_them_along() -> None:
    stories = invent_clinic(TODAY)
    assert len(stories) == PATIENTS
    assert invent_clinic(TODAY) == stories
    moved = invent_clinic(TODAY + timedelta(days=7))
    assert [each.person.last_name for each in moved][:5] != [] and moved != stories


def test_everybody_of_the_whole_clinic_would_pass_the_checks_of_the_enrolment_page() -> None:
    stories = invent_clinic(TODAY)
    assert stories
    assert [errors for each in stories if (errors := check_enrolment(enrolment_of(each), today=each.enrolled_on))] == []


def test_one_in_seven_is_bilateral_some_are_revised_and_most_have_a_resurfacing() -> None:
    stories = invent_clinic(TODAY)
    operations = [operation for story in stories for operation in story.operations]
    index = [operation.facts["implant_type"] for operation in operations if operation.kind == "index"]
    assert 32 <= sum(len({operation.side for operation in story.operations}) == 2 for story in stories) <= 60
    assert 12 <= sum(operation.kind == "revision" for operation in operations) <= 35
    assert 0.5 < index.count("resurfacing_hemi") / len(index) < 0.8
    assert {"resurfacing_with_glenoid", "stemmed_hemi", "stemless_hemi", "anatomic_total", "reverse"} <= set(index)
    assert sum(story.person.email is None for story in stories) >= 5
    assert {story.end.reason for story in stories if story.end} == {"died", "withdrew", "transferred"}


def test_someone_to_enrol_is_nobody_s_patient_and_is_followed_by_the_next(seeded: Demo, demo: Demo) -> None:
    with demo.runtime.store.writing() as session:
        first = fresh_person(session, TODAY)
        assert first is not None and RESERVED.fullmatch(first["email"]) and FICTION.fullmatch(first["phone"])
        taken = session.scalars(select(Patient)).first()
        assert taken is not None
        taken.first_name, taken.last_name = first["first_name"], first["last_name"]
        session.flush()
        second = fresh_person(session, TODAY)
    assert second is not None and second["last_name"] != first["last_name"]
