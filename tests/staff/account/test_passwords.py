"""Which passwords may be used, and how many are hashed at a time."""

import threading

import pytest

from server.staff.account import passwords
from tests.staff.staff_case import PASSWORD, SECRET, StaffCase, send_sign_in

# Signing in is tested on both databases; what is done here does not depend on which it is.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

NURSE = "nurse@clinic.example"
OWN = (NURSE, "Nell Marlowe", "Harbour Shoulder Clinic (invented)")


@pytest.mark.parametrize(
    ("password", "fits"),
    [("fourteen chars", False), ("fifteen charact", True), ("aaaaaaaaaaaaaaaaaaaa", False), ("x" * 201, False)],
)
def test_a_password_has_fifteen_characters_and_no_rule_of_composition(password: str, fits: bool) -> None:
    assert (passwords.password_problem(password) is None) == fits


@pytest.mark.parametrize(
    "common",
    [
        "passwordpassword",
        "password12345678",
        "qwertyuiopasdfgh",
        "p a s s w o r d 1 2 3",
        "iloveyouiloveyou",
        "Letmein-letmein-1",
        "nurse@clinic.example",
        "Nell Marlowe 1984",
        "NellMarlowe-nell",
        "harbour shoulder clinic",
        "Harbour-Shoulder-1",
    ],
)
def test_what_others_would_try_first_is_refused(common: str) -> None:
    problem = passwords.password_problem(common, own=OWN)
    assert problem is not None and "would be guessed soon" in problem.text


@pytest.mark.parametrize(
    "good", [PASSWORD, "seven grey geese flying over", "me gusta el mar azul", "x7#Lq" * 3 + "mV2!pQ"]
)
def test_a_few_words_of_one_s_own_are_taken(good: str) -> None:
    assert passwords.password_problem(good, own=OWN) is None


@on_sqlite
@pytest.mark.parametrize("common", ["password12345678", "Test Clinic invented"])
def test_the_account_page_refuses_a_common_password_and_the_clinic_s_name(staff: StaffCase, common: str) -> None:
    said = staff.sign_in("nurse").post("/account/password", {"old_password": PASSWORD, "new_password": common})
    assert said.status_code == 422 and "would be guessed soon" in said.text


class Slow:
    """In place of the hasher: starts, and ends when it is told to."""

    def __init__(self) -> None:
        self.started, self.end = threading.Event(), threading.Event()
        self.running = 0

    def hash(self, _password: str) -> str:
        self.running += 1
        self.started.set()
        self.end.wait(10)
        return "hash"


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Slow:
    made = Slow()
    monkeypatch.setattr(passwords, "_hasher", made)
    return made


def in_queue() -> int:
    return 2 - passwords._places._value


@on_sqlite
def test_one_is_hashed_one_waits_and_all_others_are_told_at_once_that_it_is_busy(staff: StaffCase, slow: Slow) -> None:
    threads = [threading.Thread(target=passwords.hash_password, args=("x" * 15,)) for _number in range(2)]
    threads[0].start()
    assert slow.started.wait(10)
    threads[1].start()
    while in_queue() < 2:
        threads[1].join(0.001)
    busy = send_sign_in(staff.browser(), NURSE, PASSWORD)
    assert (busy.status_code, busy.headers["Retry-After"], slow.running) == (503, "2", 1)
    assert "signing in at this moment" in busy.text and f'value="{NURSE}"' in busy.text
    assert SECRET.findall(busy.text)
    slow.end.set()
    for thread in threads:
        thread.join()
    assert slow.running == 2


@on_sqlite
def test_a_busy_server_counts_no_wrong_try(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(_password: str, _known: str | None) -> bool:
        raise passwords.Busy

    client = staff.browser()
    with monkeypatch.context() as changed:
        changed.setattr("server.staff.account.sign_in.password_matches", busy)
        assert {send_sign_in(client, NURSE, "wrong").status_code for _try in range(6)} == {503}
    assert send_sign_in(client, NURSE, PASSWORD).status_code == 302
