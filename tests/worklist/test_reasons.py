"""Each row says in plain words what waits, why, and for how long."""

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from scoring.library import load_library
from server.fields.person import SENT_BY_ITSELF
from server.models import Consent, ContactAttempt, Message, Patient
from server.queries.chosen import Chosen
from server.reminders.channels.table import CHANNELS
from server.staff.held.held import WHY
from server.words.times import ago
from server.worklist import words
from tests.storehouse import NOW, TODAY, add_account, add_operation, add_timepoint
from tests.worklist.ward import DAY, ENGLISH, Ward, baseline, flag, held, link_of, locked, patient, reason, say, waiting


def test_a_non_responder_says_how_often_and_how_long(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = waiting(
            session, code="year-10", due_on=date(2026, 4, 1), closes_on=TODAY + 9 * DAY, ladder_exhausted_on=TODAY
        )
        for step in ("invitation", "reminder-1", "reminder-2", "reminder-3"):
            session.add(
                Message(timepoint_id=row.id, step=step, channel="email", made_at=NOW, done_at=NOW, outcome="sent")
            )
        nurse = add_account(session)
        call = ContactAttempt(
            patient_id=row.patient_id,
            at=NOW - DAY,
            by_id=nurse.id,
            channel="telephone",
            result="no_answer",
        )
        session.add(call)
        session.get_one(Patient, row.patient_id).second_contact = "her brother"
    found = ward.only_row()
    assert (say(found.title), found.days_left, say(found.action)) == ("Left shoulder, year 10", 9, "Called")
    assert reason(found) == (
        "Four messages sent, no answer. "
        "Closes on 24 June 2026, 9 days left. Tried to reach once, yesterday: no answer. A second contact is known."
    )
    assert (found.name, found.age, say(found.reach), found.since) == ("Ada Ardent", 69, "e-mail", date(2026, 4, 1))


def test_calls_count_for_all_that_was_open_then_and_for_nothing_older(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = waiting(session, due_on=TODAY - 5 * DAY, opens_on=TODAY - 30 * DAY)
        later = add_timepoint(session, row.follow_up, "year-3", due_on=TODAY - DAY, opens_on=TODAY - 3 * DAY)
        nurse = add_account(session)
        for days in (40, 20, 2):
            at = NOW - days * DAY
            call = {"by_id": nurse.id, "channel": "telephone", "result": "no_answer"}
            session.add(ContactAttempt(patient_id=row.patient_id, at=at, **call))
        ids = (row.id, later.id)
    reasons = {found.timepoint_id: reason(found) for found in ward.work().rows}
    assert reasons[ids[0]].endswith("Tried to reach two times, last 2 days ago: no answer.")
    assert reasons[ids[1]].endswith("Tried to reach once, 2 days ago: no answer.")


def test_every_reason_of_the_protocol_is_said_in_words() -> None:
    protocol = (Path(__file__).parents[2] / "server/sync/PROTOCOL.md").read_text("utf-8")
    listed = protocol.split("Reasons:")[1].split("\n##")[0]
    reasons = set(re.findall(r"`([a-z_]+)`", listed))
    assert len(reasons) > 8 and reasons == set(words.HELD) == set(WHY)


def test_an_overdue_row_says_since_when_and_why_no_message_went(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = waiting(session, due_on=TODAY - 5 * DAY)
        failed = Message(
            timepoint_id=row.id, step="invitation", channel="email", made_at=NOW, done_at=NOW, outcome="no_contact"
        )
        session.add(failed)
    assert reason(ward.only_row()) == (
        "Was due 5 days ago; no message could be sent: there is no address to send to. Closes on 8 September 2026, 85 days left."
    )


def test_a_planned_day_that_passed_says_what_it_holds_up(ward: Ward) -> None:
    with ward.store.writing() as session:
        add_operation(session, patient(session), surgery_planned_on=TODAY - 3 * DAY)
    row = ward.only_row()
    assert reason(row) == (
        f"Surgery was planned for {ENGLISH.day(TODAY - 3 * DAY)}; was it done? Until it is entered as done, moved or cancelled, "
        "no form after surgery comes, and nobody is asked about the wound."
    )
    assert (say(row.title), say(row.action), row.since) == ("Left shoulder", "Confirm", TODAY - 3 * DAY)


def test_an_option_that_was_read_from_right_to_left_does_not_turn_the_sentence_around_it() -> None:
    library = load_library()
    chosen = Chosen("نعم، حمى", "ar", emergency=False)
    assert words.topic("early@2/3", chosen, library) == "fever: “\u2068نعم، حمى\u2069”"
    assert words.topic("early@2/3", replace(chosen, option="Sí", language="es"), library) == "fever: “Sí”"
    assert words.topic("early@1/3", Chosen("", "", emergency=False), library) == "fever or feeling ill"
    read = replace(chosen, translated={"en": "Yes, a fever", "es": "Sí, fiebre"})
    assert say(words.topic("early@2/3", read, library)) == "fever: “\u2068نعم، حمى\u2069” (in English: “Yes, a fever”)"
    assert (
        say(words.topic("early@2/3", replace(read, translated={"es": "Sí"}), library))
        == "fever: “\u2068نعم، حمى\u2069”"
    )


def test_a_missing_baseline_says_when_surgery_is(ward: Ward) -> None:
    with ward.store.writing() as session:
        baseline(session, planned_on=TODAY + 3 * DAY)
    row = ward.only_row()
    assert say(row.title) == "Left shoulder, before surgery"
    assert reason(row).startswith("Surgery on 18 June 2026, in 3 days. No message sent yet.")


def test_a_planned_day_that_passed_asks_whether_it_was_done(ward: Ward) -> None:
    with ward.store.writing() as session:
        baseline(session, planned_on=TODAY - DAY)
    assert reason(ward.only_row()).startswith("Surgery was planned for 14 June 2026; was it done?")


def test_a_row_that_is_merely_due_says_when_the_first_message_goes(ward: Ward) -> None:
    with ward.store.writing() as session:
        waiting(session, due_on=TODAY + 20 * DAY, invites_on=TODAY + 6 * DAY)
    assert reason(ward.only_row()) == (
        "Open since 6 April 2026; the first message goes on 21 June 2026. Closes on 3 October 2026, 110 days left."
    )


def test_a_safety_answer_names_what_was_asked(ward: Ward) -> None:
    with ward.store.writing() as session:
        told = waiting(session, done_at=NOW, code="week-6")
        flag(session, told, "safety_answer", "since@1/2")
    row = ward.only_row()
    assert reason(row) == (
        "Answered two hours ago with a warning: other treatment, medicine or a sudden problem. Nobody here has settled it yet."
    )
    assert row.flag_ids == (row.flag_id,)


def test_what_a_patient_typed_is_not_in_the_row(ward: Ward) -> None:
    with ward.store.writing() as session:
        flag(session, waiting(session, done_at=NOW), "contact_change", "since@1/6a", detail="600 111 222")
    assert "600" not in reason(ward.only_row())


def test_a_held_form_says_why_and_whose_it_is(ward: Ward) -> None:
    with ward.store.writing() as session:
        held(session, "wrong_answer_key", link_of(session, patient(session)))
    row = ward.only_row()
    assert (row.name, say(row.action)) == ("Ada Ardent", "Look")
    assert reason(row).startswith("A form came three days ago and is kept, but it was sealed with another link")


def test_a_held_form_of_nobody_known_is_listed_too(ward: Ward) -> None:
    with ward.store.writing() as session:
        held(session, "unknown_key")
        held(session, "unknown_key", number=2, state="received")
        held(session, "unknown_key", number=3, state="recorded")
    row = ward.only_row()
    assert (row.patient_id, row.name, row.age) == (None, "", None)
    assert row.envelope_id is not None


def test_a_shut_link_is_listed_and_four_wrong_dates_are_not(ward: Ward) -> None:
    with ward.store.writing() as session:
        locked(session, patient(session, "Y-0001"))
        locked(session, patient(session, "Y-0002"), failures=4)
        for number, left in (("Y-0003", "withdrew_on"), ("Y-0004", "died_on"), ("Y-0005", "transferred_on")):
            locked(session, patient(session, number, **{left: TODAY}))  # their links have ended
    row = ward.only_row()
    assert (row.study_number, say(row.action)) == ("Y-0001", "Unlock")
    assert reason(row).startswith("Five wrong birth dates in a row; the link was shut 30 hours ago.")


def test_nobody_calls_who_died_but_a_death_that_is_only_said_is_checked_by_a_call(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = waiting(session, not_expected_on=TODAY, not_expected_reason="died")
        found = session.get_one(Patient, row.patient_id)
        found.phone, found.died_on, found.died_certainty = "555 0100", TODAY, "confirmed"
        flag(session, row, "asked_for_call", "since@2/5")
    known = ward.only_row()
    assert (known.phone, say(known.reach), say(known.action), known.may_be_called) == ("", "has died", "Look", False)
    with ward.store.writing() as session:
        session.scalars(select(Patient)).one().died_certainty = "reported"
    only_said = ward.only_row()
    assert (only_said.phone, only_said.may_be_called) == ("555 0100", True)


def test_the_way_of_contact_says_what_stands_against_it(ward: Ward) -> None:
    with ward.store.writing() as session:
        letters = session.get_one(Patient, waiting(session, "letters").patient_id)
        letters.channel_order, letters.address = "letter,email", "Demo Street 1"
        session.get_one(Patient, waiting(session, "none").patient_id).email = None
        row = waiting(session, "withdrawn")
        session.scalars(select(Consent).where(Consent.patient_id == row.patient_id)).one().withdrawn_on = TODAY
    reach = {row.study_number: say(row.reach) for row in ward.work().rows}
    assert reach == {
        "letters": "letters",
        "none": "e-mail, but no e-mail address",
        "withdrawn": "no consent to contact",
    }


def test_how_long_ago_is_said_as_a_person_would() -> None:
    assert say(ago(NOW - timedelta(minutes=59), NOW)) == "less than an hour ago"
    assert say(ago(NOW - timedelta(hours=1), NOW)) == "one hour ago"
    assert say(ago(NOW - timedelta(hours=49), NOW)) == "two days ago"
    assert say(words.days_ago(TODAY - 90 * DAY, TODAY)) == "on 17 March 2026"
    assert say(words.days_left(TODAY, TODAY)) == "Today is the last day."
    assert say(words.days_left(TODAY + DAY, TODAY)) == "Closes on 16 June 2026, 1 day left."
    assert words.topics([("gone@9/1", None)], load_library()) == "gone@9/1"


def test_a_form_that_stays_back_says_since_when_and_for_which_text_and_is_not_overdue(ward: Ward) -> None:
    with ward.store.writing() as session:
        texts = "sane@1/en/descriptive-1,sst@1/en/descriptive-1"
        waiting(session, due_on=TODAY - 5 * DAY, withheld_on=date(2026, 6, 1), withheld_texts=texts)
    found = ward.only_row()
    assert (found.kind, say(found.action), found.days_left) == ("withheld", "Look", 85)
    assert reason(found) == (
        "Stays back since 1 June 2026: two texts of it may not be sent, so the link does not show it. "
        "Closes on 8 September 2026, 85 days left. "
        "A data manager settles that, not the patient."
    )


def test_one_text_that_may_not_be_sent_is_named() -> None:
    assert say(words.texts(["sst@1/en/licensed-1"])) == "sst@1/en/licensed-1"


@pytest.mark.parametrize(
    ("ids", "said"),
    [
        (["sst@1/en/descriptive-1"], "sst@1/en/descriptive-1 may not be sent"),
        (["sst@1/en/descriptive-1", "pain@1/en/descriptive-1"], "two texts of it may not be sent"),
        (["sst@1/fr"], "there is no text of sst@1 in a language of this clinic"),
        (["sst@1/fr", "pain@1/fr"], "there is no text of two instruments in a language of this clinic"),
        (
            ["sst@1/fr", "pain@1/en/descriptive-1"],
            "pain@1/en/descriptive-1 may not be sent and there is no text of sst@1 in a language of this clinic",
        ),
    ],
)
def test_what_keeps_a_form_back_is_told_from_what_is_not_there(ids: list[str], said: str) -> None:
    assert say(words.kept_back(ids)) == said
    assert say(words.kept_back(ids, over=True)) == said.replace("may", "might").replace("is no", "was no")


def test_a_row_that_rests_says_what_was_tried_until_when_and_how_long_is_left(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = baseline(session, planned_on=TODAY + 6 * DAY, last_try="promised", again_on=TODAY + 3 * DAY)
        call = {"by_id": add_account(session).id, "channel": "telephone", "result": "promised"}
        session.add(ContactAttempt(patient_id=row.patient_id, at=NOW, **call))
    assert reason(ward.only_row()) == (
        f"Tried to reach once, today: promised to answer. Back on {ENGLISH.day(TODAY + 3 * DAY)} unless an answer comes; "
        "reminders rest until then. Closes on 21 June 2026, 6 days left."
    )


def test_without_consent_to_contact_no_first_message_is_promised_and_staff_ask_for_it(ward: Ward) -> None:
    with ward.store.writing() as session:
        for row in (
            waiting(session, "due", invites_on=TODAY + 6 * DAY),
            waiting(session, "late", due_on=TODAY - 5 * DAY),
        ):
            session.scalars(select(Consent).where(Consent.patient_id == row.patient_id)).one().withdrawn_on = TODAY
    rows = {row.study_number: row for row in ward.work().rows}
    assert all("no message goes: there is no consent to contact" in reason(row) for row in rows.values())
    assert say(rows["late"].action) == "Ask" and rows["late"].no_consent


def test_of_whom_no_message_of_the_program_reaches_the_row_promises_none(ward: Ward) -> None:
    with ward.store.writing() as session:
        row = waiting(session, due_on=TODAY + 20 * DAY, invites_on=TODAY + 6 * DAY)
        found = session.get_one(Patient, row.patient_id)
        found.email, found.phone, found.channel_order = None, "555 0100", "sms"
    only = ward.only_row()
    assert (only.kind, say(only.reach)) == ("due", "text messages, by hand")
    assert (
        reason(only)
        == "To be answered by 5 July 2026; no message goes by itself: reach them by hand. Closes on 3 October 2026, 110 days left."
    )
    with ward.store.writing() as session:
        found = session.scalars(select(Patient)).one()
        found.email, found.channel_order = "ada@example.org", "sms,email"
    assert "the first message goes on 21 June 2026" in reason(ward.only_row())


def test_what_is_said_to_go_by_itself_is_what_the_program_has_a_channel_for() -> None:
    assert {channel.name for channel in CHANNELS} == set(SENT_BY_ITSELF)
