"""Fields at rest open only under their key, in their column; a patient's answers only under that patient's key."""

import secrets

import pytest

from server.crypto.fields import FieldProblem, FieldRing, PatientCipher

OLD, NEW = secrets.token_bytes(32), secrets.token_bytes(32)


def test_a_value_opens_in_its_own_column_and_nowhere_else() -> None:
    ring = FieldRing({"aaaa0001": OLD}, "aaaa0001")
    sealed = ring.seal("Zoë".encode(), "patient.first_name")
    assert ring.open(sealed, "patient.first_name").decode() == "Zoë"
    with pytest.raises(FieldProblem, match=r"patient\.last_name"):
        ring.open(sealed, "patient.last_name")


def test_after_a_new_key_old_values_open_and_new_values_use_the_new_key() -> None:
    before = FieldRing({"aaaa0001": OLD}, "aaaa0001")
    after = FieldRing({"aaaa0001": OLD, "bbbb0002": NEW}, "bbbb0002")
    assert after.open(before.seal(b"x", "c"), "c") == b"x"
    with pytest.raises(FieldProblem, match="bbbb0002"):
        before.open(after.seal(b"x", "c"), "c")


@pytest.mark.parametrize("cut", [0, 8, 20, 35])
def test_a_cut_or_altered_value_is_refused_with_its_column(cut: int) -> None:
    ring = FieldRing({"aaaa0001": OLD}, "aaaa0001")
    sealed = ring.seal(b"some text", "c")
    with pytest.raises(FieldProblem):
        ring.open(sealed[:cut], "c")
    with pytest.raises(FieldProblem):
        ring.open(sealed[:-1] + bytes([sealed[-1] ^ 1]), "c")


def test_without_the_patients_key_the_answers_are_noise() -> None:
    sealed = PatientCipher(OLD).seal(b"answers", "response.answers")
    assert b"answers" not in sealed
    assert PatientCipher(OLD).open(sealed, "response.answers") == b"answers"
    with pytest.raises(FieldProblem):
        PatientCipher(NEW).open(sealed, "response.answers")
    with pytest.raises(FieldProblem):
        PatientCipher(OLD).open(sealed, "envelope.body")
