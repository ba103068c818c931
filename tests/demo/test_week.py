"""A week passes: seven passes of the clock, told in words."""

import json
import threading
from collections import Counter
from datetime import timedelta

from sqlalchemy import func, select

from server.demo.week import Week, what_happened
from server.models import Link, Message, Timepoint, Transition
from server.queries.clock import the_clinic
from server.queries.facts import status_of
from tests.demo.play import OWN_PAGE, TODAY, Demo
from tests.stranger import best


def pass_a_week(demo: Demo) -> Week:
    week = Week(demo.runtime)
    thread = week.begin()
    assert thread is not None
    thread.join()
    return week


def test_the_clock_goes_on_by_seven_days_and_the_file_follows(demo: Demo) -> None:
    before = demo.now
    state = pass_a_week(demo).state()
    assert demo.now == before + timedelta(days=7)
    assert (state.running, state.problem, state.done) == (False, False, 7)
    assert (state.from_on, state.to_on) == (TODAY, TODAY + timedelta(days=7))
    written = json.loads((demo.folder / "demo.json").read_text(encoding="utf-8"))
    assert written["accounts"] == demo.content["accounts"]
    assert written["patient_links"] != demo.content["patient_links"]


def test_what_happened_is_counted_from_what_was_written_down(demo: Demo) -> None:
    began = demo.now
    state = pass_a_week(demo).state()
    with demo.runtime.store.reading() as session:
        sent = session.scalar(select(func.count()).where(Message.done_at > began, Message.outcome == "sent")) or 0
        opened = session.scalar(select(func.count()).where(Transition.at > began, Transition.status_after == "open"))
        rows = list(session.scalars(select(Timepoint)))
        today = TODAY + timedelta(days=7)
        latest = {
            row.timepoint_id: row.status_after for row in session.scalars(select(Transition).order_by(Transition.id))
        }
        assert all(latest.get(row.id, "upcoming") == status_of(row, today) for row in rows)
    numbers = [int(word) for word in state.lines[0].split() if word.isdigit()]
    assert sent > 0 and sum(numbers) == sent
    assert state.lines[1].startswith(f"{opened} ")


def test_a_second_press_while_a_week_runs_changes_nothing(demo: Demo) -> None:
    week = Week(demo.runtime)
    before = demo.now
    first, second = week.begin(), week.begin()
    assert first is not None and second is None
    first.join()
    assert demo.now == before + timedelta(days=7)


def test_the_page_leads_through_the_week_and_back_to_the_door(demo: Demo) -> None:
    pressed = demo.client.post("/demo/week", headers=OWN_PAGE)
    assert (pressed.status_code, pressed.headers["Location"]) == (302, "/demo/week")
    for thread in threading.enumerate():
        if thread.name == "a week passes":
            thread.join()
    back = demo.client.get("/demo/week")
    assert back.headers["Location"] == "/#week"
    page = demo.client.get("/").text
    assert "17 June to 24 June 2026" in page and "Wednesday, 24 June 2026" in page


def test_a_week_that_breaks_off_says_so_and_can_be_started_again(demo: Demo) -> None:
    with demo.runtime.store.writing() as session:
        clinic = the_clinic(session)
        clinic.time_zone = "Nowhere/Atall"
    week = pass_a_week(demo)
    assert week.state().problem and not week.state().running


def test_an_answer_given_meanwhile_is_taken_in_and_told(demo: Demo) -> None:
    link = demo.links("due")[0]
    phone = demo.phone(link)
    phone.fetch()
    form = phone.sheet["forms"][0]
    (receipt,) = phone.send(phone.seal(phone.payload(form, best, demo.now)))
    assert receipt["status"] == "stored"
    state = pass_a_week(demo).state()
    assert "1 answer was taken in, 0 held." in state.lines
    renewed = json.loads((demo.folder / "demo.json").read_text(encoding="utf-8"))["patient_links"]
    left = [
        each["forms"] for each in renewed if each["study_number"] == link["study_number"] and each["state"] == "due"
    ]
    assert sum(left) == link["forms"] - 1


def test_links_stay_the_same_over_a_week(demo: Demo) -> None:
    with demo.runtime.store.reading() as session:
        before = Counter(session.scalars(select(Link.token)))
    pass_a_week(demo)
    with demo.runtime.store.reading() as session:
        assert Counter(session.scalars(select(Link.token))) == before


def test_a_quiet_time_is_told_too(demo: Demo) -> None:
    with demo.runtime.store.reading() as session:
        lines = what_happened(session, demo.now, Counter())
    assert lines[0] == "0 invitations and 0 reminders went out." and len(lines) == 4
