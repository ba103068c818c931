"""The first page after signing in on a live clinic: Readiness leads a data manager while points are open, Held afterwards."""

import pytest

from server.installation import readiness
from server.staff.account import sign_in
from tests.staff.account.live_case import actions, code_now, give_app, go_live, password_given
from tests.staff.staff_case import PASSWORD, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of argon2, whose work is not looked at here."""
    monkeypatch.setattr(sign_in, "password_matches", lambda typed, known: bool(known) and typed == PASSWORD)


def first_page(staff: StaffCase) -> str:
    """Where a data manager lands, as the sign-in and a second look at it say."""
    app = give_app(staff, "data_manager")
    desk = password_given(staff, "data_manager@clinic.example")
    landed = desk.post("/sign-in/second-step", code=code_now(staff, app)).location
    assert actions(staff, "sign-in:done") and desk.get("/sign-in").location == landed
    return str(landed)


def test_while_points_are_open_a_data_manager_lands_on_readiness(staff: StaffCase) -> None:
    assert first_page(go_live(staff)) == "/ready"


def test_when_none_is_open_a_data_manager_lands_on_what_is_held(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readiness, "CHECKS", ())
    assert first_page(go_live(staff)) == "/held"


def test_nobody_outside_is_asked_before_the_first_page(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(readiness, "certificate_is_good", lambda url, _now: asked.append(url))
    monkeypatch.setattr(readiness, "mail_server_answers", lambda settings: asked.append(str(settings.smtp)))
    assert first_page(go_live(staff)) == "/ready"
    assert asked == []
