"""The page to take home: a PDF of the patient's own answers, in plain words of their language, and of nobody else."""

import io
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, PdfObject
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, Patient
from server.schedule.timepoint_code import TimepointCode
from server.staff.patient import take_home_words as say
from server.words.language import Words
from tests.staff.course_case import followed, revised, sheet
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import fill_clinic, open_timepoint

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
ENGLISH = Words("patient", "en")
DOOR = "Page to take home"


def file_of(staff: StaffCase, patient_id: int) -> bytes:
    staff.signed_in.clear()  # the clock may have moved past the end of a session
    answer = staff.sign_in("nurse").get(f"/patients/{patient_id}/take-home.pdf")
    assert answer.status_code == 200 and answer.mimetype == "application/pdf"
    return bytes(answer.data)


def read(file: bytes) -> tuple[PdfReader, str]:
    found = PdfReader(io.BytesIO(file))
    return found, " ".join(" ".join(page.extract_text() for page in found.pages).split())


def root_of(file: PdfReader) -> Any:
    return file.root_object


def three_answers(staff: StaffCase) -> int:
    forms = (sheet(3, pain=8, sane=30, own=0), sheet(9, pain=2, sane=70, own=1), sheet(11, pain=1, sane=85, own=1))
    return followed(staff, *forms)


def test_it_shows_the_own_answers_in_the_order_of_time(staff: StaffCase) -> None:
    _file, text = read(file_of(staff, three_answers(staff)))

    assert "a no. operation, 25 Jun 2026 Pain 0: No pain. 10: The worst pain you can think of." in text
    rows = (
        "before 15 Jun 2026 8 3 30 % no 1 year after 16 Jun 2027 2 9 70 % yes 2 years after 15 Jun 2028 1 11 85 % yes"
    )
    assert rows in text
    assert "555 0100" in text and "call 112 now" in text and "555 0101" in text and "no medical advice" in text
    assert "What had reached us by 15 June 2028." in text and "in plain words by the makers of the program" in text
    assert "We did not ask you, or could not reach you: 6 weeks after the operation." in text


def test_it_judges_nothing_and_compares_with_nobody(staff: StaffCase) -> None:
    other = fill_clinic(staff, first_name="Otto", last_name="Otherman")
    _file, text = read(file_of(staff, three_answers(staff)))

    verdicts = (
        "improve|worse than|threshold|average|usual for|percentile|normal range|success|acceptable|compared|points"
    )
    assert re.findall(verdicts, text, re.IGNORECASE) == []
    assert not any(each in text for each in ("Otto", "Otherman", "Imagined", "Nell Nurse"))
    assert other.patient_id and "Ada Arden" in text


def elements(node: PdfObject | None) -> Iterator[DictionaryObject]:
    """The tags of a file, from its root downwards."""
    found = node.get_object() if node is not None else None
    if isinstance(found, ArrayObject):
        for each in found:
            yield from elements(each)
    elif isinstance(found, DictionaryObject):
        yield found
        yield from elements(found.get("/K"))


def test_what_reads_it_aloud_knows_its_language_headings_pictures_and_tables(staff: StaffCase) -> None:
    file, _text = read(file_of(staff, three_answers(staff)))
    root = root_of(file)
    tags = list(elements(root["/StructTreeRoot"]))
    kinds = Counter(each.get("/S") for each in tags)

    assert root["/Lang"] == "en" and root["/MarkInfo"]["/Marked"] and root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert kinds["/H1"] == 1 and kinds["/Figure"] == 1 and kinds["/Table"] == 1 and kinds["/TH"] == 6
    said = [str(each["/Alt"]) for each in tags if "/Alt" in each]
    assert said == ["A picture of the answers in the table “Your left shoulder in numbers”"]


def test_its_data_about_itself_name_no_person_and_the_same_answers_give_the_same_bytes(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = three_answers(staff)
    first = file_of(staff, patient_id)
    answer = staff.sign_in("nurse").get(f"/patients/{patient_id}/take-home.pdf")

    assert answer.data == first
    assert answer.headers["Content-Disposition"] == 'attachment; filename="shoulder-2028-06-15.pdf"'
    file, _text = read(first)
    assert file.metadata is not None and set(file.metadata) == {"/Title", "/Creator", "/ModDate", "/CreationDate"}
    assert file.metadata.title == "Your shoulder over the years" and b"Arden" not in first


def test_it_speaks_the_language_of_the_patient(staff: StaffCase) -> None:
    patient_id = staff.case.enrol(ShoulderEntry(side="right", surgery_on=staff.case.today), language="es")
    file, text = read(file_of(staff, patient_id))

    assert root_of(file)["/Lang"] == "es" and file.metadata is not None
    assert file.metadata.title == "Su hombro a lo largo de los años"
    assert "Todavía no tenemos respuestas suyas" in text and "llame ya al 112" in text and "junio de 2026" in text
    assert say.lead(ENGLISH)[0] not in text


def test_without_an_answer_it_says_so_draws_no_empty_axes_and_is_audited(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    file, text = read(file_of(staff, patient_id))
    kinds = {each.get("/S") for each in elements(root_of(file)["/StructTreeRoot"])}

    with staff.case.store.reading() as session:
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "patient:page_taken_home")).one()
        assert entry.thing == f"patient {patient_id}" and entry.by_id == staff.account_id("nurse")
    assert "We have no answers from you yet" in text and "When to call" in text
    assert len(file.pages) == 1 and not kinds & {"/Figure", "/Table"}


def test_each_shoulder_stands_for_itself_and_one_answer_is_no_line(staff: StaffCase) -> None:
    file, text = read(file_of(staff, fill_clinic(staff).patient_id))
    pictures = [each for each in elements(root_of(file)["/StructTreeRoot"]) if each.get("/S") == "/Figure"]

    assert "Your shoulders over the years" in text and len(pictures) == 1
    assert (
        "Your left shoulder There is nothing to draw yet. Your right shoulder There is one answer so far. A line"
        in text
    )
    assert "A dash (–) means" not in text


def test_what_was_told_afterwards_stands_in_the_table_and_not_in_the_picture(staff: StaffCase) -> None:
    patient_id = followed(staff, None, sheet(9, pain=2, sane=70, own=1))
    staff.answer(open_timepoint(staff, patient_id, "baseline"), sheet(2, pain=9, sane=20, own=0), on=staff.case.today)
    _file, text = read(file_of(staff, patient_id))

    assert "before, told afterwards 16 Jun 2027 9 2 20 % no" in text
    assert "because we all remember the past a little differently" in text
    assert "There is one answer so far" in text


def test_after_a_second_operation_it_says_which_one_is_meant(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3, pain=8, sane=30, own=0), sheet(9, pain=2, sane=70, own=1))
    revised(staff, patient_id, sheet(4, pain=7, sane=40, own=0), sheet(8, pain=3, sane=60, own=1))
    revised(staff, patient_id, sheet(5, pain=6, sane=45, own=0))
    _file, text = read(file_of(staff, patient_id))

    assert "1 year after (operation of 2026)" in text and "before (operation of 2027)" in text
    assert "before (planned operation) 2 Jan 2029 6 5 45 % no" in text and "planned operation, 12 Jan 2029" in text
    assert "1 year after (operation of 2027)" in text and "operation, 4 Oct 2027" in text


def test_what_was_asked_and_not_answered_is_told_without_blame(staff: StaffCase) -> None:
    years = [TimepointCode.parse(f"year-{number}") for number in range(1, 8)]
    few = say.of_shoulders(ENGLISH, {"left": [TimepointCode.parse("baseline"), *years[:2]], "right": []}, named=True)
    many = say.of_shoulders(ENGLISH, {"left": years}, named=False)
    told = say.not_here(ENGLISH, unanswered=few, unasked=many, dashes=False, by_others=True, recalled=False)

    assert told[:3] == [
        "No answer reached us: left shoulder, before the operation; 1 year and 2 years after the operation. "
        "That is all right. Nobody has to answer, and an answer can get lost on its way.",
        "We did not ask you, or could not reach you: 7 times. That was not up to you.",
        "Where someone else answered for you there is no number. How your shoulder feels only you can say.",
    ]


def test_the_page_of_the_patient_leads_to_it_and_says_what_it_is(staff: StaffCase) -> None:
    patient_id = staff.case.enrol(language="es")
    page = staff.sign_in("surgeon").get(f"/patients/{patient_id}").text
    assert f'<a href="/patients/{patient_id}/take-home.pdf">{DOOR}: the own course, in Spanish (PDF)</a>' in page


@pytest.mark.parametrize(
    ("left", "said"),
    [
        ({"died_on": 0}, "the patient has died"),
        ({"withdrew_on": 0, "withdrawal_extent": "contact"}, "the patient withdrew"),
        ({"withdrew_on": 0, "withdrawal_extent": "erasure", "erased_at": 0}, "the answers were erased"),
        ({"taken_back_at": 0}, "enrolled in error"),
    ],
)
def test_where_there_is_no_page_a_sentence_says_why(
    staff: StaffCase, nurse: Staff, left: dict[str, object], said: str
) -> None:
    patient_id = staff.case.enrol()
    values = {
        name: value or (staff.case.now if name.endswith("_at") else staff.case.today) for name, value in left.items()
    }
    with staff.case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        for name, value in values.items():
            setattr(patient, name, value)
    page = nurse.get(f"/patients/{patient_id}").text

    assert f"No {DOOR.lower()}: {said}" in page and "take-home.pdf" not in page
    assert nurse.get(f"/patients/{patient_id}/take-home.pdf").status_code == 404
