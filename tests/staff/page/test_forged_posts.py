"""A form is taken only from our own page, with the secret of the session; an old page is shown again, not thrown away."""

import pytest

from server.models import ContactAttempt
from tests.staff.staff_case import PASSWORD, SECRET, Staff, StaffCase, send_sign_in

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


ATTEMPT = {"channel": "telephone", "result": "reached", "note": "spoke to her"}


def attempts(staff: StaffCase) -> int:
    with staff.case.store.reading() as session:
        return session.query(ContactAttempt).count()


def test_a_form_from_our_page_is_taken(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    for headers in ({}, {"Sec-Fetch-Site": "same-origin", "Origin": "null"}, {"Origin": "http://localhost"}):
        assert nurse.post(f"/patients/{patient_id}/attempts", ATTEMPT, headers=headers).status_code == 302
    assert attempts(staff) == 3


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Origin": "https://evil.example"},
        {"Origin": "http://localhost.evil.example"},
    ],
)
def test_another_site_is_refused_even_with_the_secret(staff: StaffCase, nurse: Staff, headers: dict[str, str]) -> None:
    patient_id = staff.case.enrol()
    answer = nurse.post(f"/patients/{patient_id}/attempts", ATTEMPT, headers=headers)
    assert answer.status_code == 403 and "not sent from our page" in answer.text
    assert attempts(staff) == 0


@pytest.mark.parametrize("secret", ["", "wrong", "é" * 20])
def test_without_the_secret_nothing_is_saved_and_everything_typed_is_shown_again(
    staff: StaffCase, nurse: Staff, secret: str
) -> None:
    patient_id = staff.case.enrol()
    path = f"/patients/{patient_id}/attempts"
    answer = nurse.client.post(path, data={**ATTEMPT, "form_secret": secret})
    assert answer.status_code == 409 and attempts(staff) == 0
    assert f'action="{path}"' in answer.text and 'value="spoke to her"' in answer.text
    assert nurse.secret in SECRET.findall(answer.text)


def test_the_secret_of_another_session_does_not_fit(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    other = staff.sign_in("surgeon")
    answer = nurse.client.post(f"/patients/{patient_id}/attempts", data={**ATTEMPT, "form_secret": other.secret})
    assert answer.status_code == 409 and attempts(staff) == 0


def test_a_form_sent_after_the_session_ended_survives_signing_in_again(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    path = f"/patients/{patient_id}/attempts"
    nurse.post("/sign-out")
    asked = nurse.post(path, ATTEMPT)
    assert asked.status_code == 401 and 'name="keep:note" value="spoke to her"' in asked.text
    kept = {"keep_path": path, **{f"keep:{name}": value for name, value in ATTEMPT.items()}}
    again = send_sign_in(nurse.client, "nurse@clinic.example", PASSWORD, **kept)
    assert again.status_code == 409 and 'value="spoke to her"' in again.text
    fresh = SECRET.findall(again.text)[-1]
    assert nurse.client.post(path, data={**ATTEMPT, "form_secret": fresh}).status_code == 302
    assert attempts(staff) == 1


def test_signing_in_needs_the_secret_of_its_own_page(staff: StaffCase) -> None:
    client = staff.browser()
    fields = {"email": "nurse@clinic.example", "password": PASSWORD}
    assert client.post("/sign-in", data=fields).status_code == 400
    assert client.post("/sign-in", data={**fields, "form_secret": ""}).status_code == 400
    assert client.get("/today").status_code == 302


def test_a_password_is_never_written_into_a_page_to_be_sent_again(staff: StaffCase, nurse: Staff) -> None:
    fields = {"old_password": PASSWORD, "new_password": "another long sentence"}
    stale = nurse.client.post("/account/password", data={**fields, "form_secret": "old"})
    assert stale.location == "/account?done=too-old" and PASSWORD not in stale.text
    nurse.post("/sign-out")
    asked = nurse.post("/account/password", fields)
    assert asked.status_code == 401 and PASSWORD not in asked.text and "another long" not in asked.text
