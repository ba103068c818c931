"""Texts that staff type leave the clinic as words of a list, or not at all."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.demo.surgery import STAGES
from server.fields.field import Kind, named
from server.fields.leaving import coded, words_that_leave
from server.fields.operation import OPERATION
from tests.exports.clinic import SURGERY, Exporter, ada_answers, add_patient
from tests.storehouse import add_operation

CODED = sorted(field.name for field in OPERATION if field.kind == Kind.CODED)


@pytest.mark.parametrize(
    ("name", "typed", "word"),
    [
        ("smoking", "Former", "former"),
        ("smoking", "as his wife Ada says", "other"),
        ("glenoid_type", " B2 ", "b2"),
        ("subscapularis_handling", "lesser  tuberosity-osteotomy", "lesser_tuberosity_osteotomy"),
        ("diagnosis_stage", "Stage III", "stage_iii"),
        ("smoking", "En el pasado", "former"),
        ("glenoid_wear", "moderado", "moderate"),
        ("glenoid_type", "moderado", "other"),
        ("fixation", "   ", None),
        ("fixation", None, None),
    ],
)
def test_what_was_typed_becomes_a_word_of_the_list(name: str, typed: str | None, word: str | None) -> None:
    assert coded(named(OPERATION, name).words, typed) == word


@given(name=st.sampled_from(CODED), typed=st.text())
def test_nothing_but_the_words_of_the_list_comes_out(name: str, typed: str) -> None:
    field = named(OPERATION, name)
    assert coded(field.words, typed) in (None, *words_that_leave(field))


def test_the_stages_of_the_invented_clinic_have_words() -> None:
    words = named(OPERATION, "diagnosis_stage").words
    assert "other" not in {coded(words, stage) for stages in STAGES.values() for stage in stages}


def test_the_procedure_and_every_other_text_stay_in_the_clinic(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
        plain = {"smoking": "Never", "glenoid_wear": "mild", "procedure": "resurfacing"}
        add_operation(session, add_patient(session, "Y-0002"), surgery_on=SURGERY, **plain)
    exporter.export()
    typed, listed = exporter.rows("operations.csv")
    assert {typed[name] for name in CODED} == {"other"}
    assert (listed["smoking"], listed["glenoid_wear"], listed["fixation"]) == ("never", "mild", "")
    assert (typed["procedure"], listed["procedure"]) == ("other", "resurfacing")
    assert "procedure_other" not in listed
