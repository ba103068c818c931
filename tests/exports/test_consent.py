"""Who is in the files: only patients whose consent to research stands, unless all are asked for."""

import json
from datetime import timedelta

from sqlalchemy import select

from server.models import ClinicNotice, Patient
from tests.exports.clinic import SURGERY, Exporter, add_patient, consent_to_research
from tests.storehouse import NOW, TODAY, add_follow_up, add_operation, add_timepoint
from tests.storehouse import add_patient as add_person

FILES = ("long.csv", "wide.csv", "operations.csv")


def clinic_of_five(exporter: Exporter) -> None:
    """Given; given and to be withdrawn tomorrow; withdrawn today; never asked; withdrawn once and given again."""
    with exporter.store.writing() as session:
        people = [add_patient(session, "Y-0001"), *(add_person(session, f"Y-000{number}") for number in (2, 3, 4, 5))]
        consent_to_research(session, people[1], withdrawn_on=TODAY + timedelta(days=1))
        consent_to_research(session, people[2], withdrawn_on=TODAY)
        consent_to_research(session, people[4])
        people[4].consents[0].given_on, people[4].consents[0].withdrawn_on = SURGERY - timedelta(days=9), SURGERY
        session.flush()
        consent_to_research(session, people[4])
        for number, person in enumerate(people):
            follow_up = add_follow_up(session, add_operation(session, person, surgery_on=SURGERY))
            add_timepoint(session, follow_up, "year-2" if number != 3 else "year-1", due_on=TODAY)


def test_patients_without_a_standing_consent_to_research_are_in_no_file_and_counted(exporter: Exporter) -> None:
    clinic_of_five(exporter)
    manifest = exporter.export()
    for file in FILES:
        assert [row["study_number"] for row in exporter.rows(file)] == ["Y-0001", "Y-0002", "Y-0005"], file
    assert (manifest.counts["patients"], manifest.counts["left_out_no_research_consent"]) == (3, 2)
    written = json.loads((exporter.folder / "set" / "manifest.json").read_text(encoding="utf-8"))
    assert written["counts"]["left_out_no_research_consent"] == 2
    assert not any(name.startswith("y1_") for name in exporter.rows("wide.csv")[0])


def test_all_patients_are_written_when_asked_for_each_with_the_state_of_the_consent(exporter: Exporter) -> None:
    clinic_of_five(exporter)
    manifest = exporter.export(all_patients=True)
    found = {row["study_number"]: row["research_consent"] for row in exporter.rows("operations.csv")}
    assert list(found.values()) == ["given", "given", "withdrawn", "none", "given"]
    assert (manifest.counts["patients"], manifest.counts["left_out_no_research_consent"]) == (5, 0)


def test_the_version_of_the_text_that_was_agreed_to_leaves_and_a_typed_one_does_not(exporter: Exporter) -> None:
    clinic_of_five(exporter)
    with exporter.store.writing() as session:
        text = {"kind": "research", "version": "2026-06", "language": "en", "title": "t", "content": "c", "sha256": b""}
        notice = ClinicNotice(**text, made_at=NOW)
        session.add(notice)
        session.flush()
        first = session.scalars(select(Patient).where(Patient.study_number == "Y-0001")).one()
        first.consents[-1].notice_id = notice.id
    exporter.export(all_patients=True)
    found = {row["study_number"]: row["research_consent_version"] for row in exporter.rows("operations.csv")}
    assert list(found.values()) == ["2026-06", "on_paper", "", "", "on_paper"]


def test_the_codebook_says_what_a_consent_can_be(exporter: Exporter) -> None:
    exporter.export()
    (entry,) = (row for row in exporter.rows("codebook.csv") if row["name"] == "research_consent")
    assert (entry["file"], entry["codes"]) == ("operations.csv", "given | withdrawn | none")
