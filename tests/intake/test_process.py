"""From stored bytes to a response, its scores and its transition; and what is held instead, with which reason."""

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from sqlalchemy import select, update

from server.clinic.entries import ShoulderEntry
from server.crypto.envelope import SUITE_ID, public_point
from server.intake import check, process
from server.intake.check import check_form
from server.intake.hold import NotHeld, release, settle
from server.links.make import forget_tokens, replace_link
from server.models import Envelope, Flag, Patient, Response, SealingKey, Timepoint, Transition
from tests.clinic_case import Case
from tests.stranger import Stranger, b64u, best, unb64u


def opened(case: Case, *shoulders: ShoulderEntry) -> Stranger:
    phone = case.phone(case.enrol(*shoulders))
    phone.fetch()
    return phone


def finished(case: Case, phone: Stranger) -> dict[str, Any]:
    return phone.payload(phone.sheet["forms"][0], best, case.now)


def held(case: Case) -> list[str | None]:
    with case.store.reading() as session:
        return list(session.scalars(select(Envelope.held_reason).where(Envelope.state == "held").order_by(Envelope.id)))


def responses(case: Case) -> list[Response]:
    with case.store.reading() as session:
        return list(session.scalars(select(Response).order_by(Response.id)))


def test_the_preferred_shoulder_is_recorded_whether_or_not_the_phone_s_sheet_asked_it_and_in_yearly_forms_only(
    case: Case,
) -> None:
    def days(count: int) -> Any:
        return case.today - timedelta(days=count)

    asked = opened(
        case, ShoulderEntry(side="left", surgery_on=days(1827)), ShoulderEntry(side="right", surgery_on=days(730))
    )
    right = next(form for form in asked.sheet["forms"] if form["side"] == "right")
    whole = asked.payload(right, best, case.now)
    assert whole["parts"][-1]["instrument"] == "preference@1"
    asked.send(asked.seal(whole))
    unasked = opened(case, ShoulderEntry(side="right", surgery_on=days(730)))
    unasked.send(unasked.seal(finished(case, unasked)))
    added = opened(case, ShoulderEntry(side="right", surgery_on=days(730)))
    form = finished(case, added)
    form["parts"].append(whole["parts"][-1])
    added.send(added.seal(form))
    assert (case.process().recorded, held(case)) == (3, [])
    early = opened(case, ShoulderEntry(side="right", surgery_on=days(42)))
    form = finished(case, early)
    form["parts"].append(whole["parts"][-1])
    early.send(early.seal(form))
    assert (case.process().recorded, held(case)) == (0, ["answers_not_valid"])


def test_intake_that_is_asked_to_stop_finishes_its_batch_and_leaves_the_rest_to_the_next_start(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(process, "BATCH", 1)
    for name in ("Ada", "Ben"):
        phone = case.phone(case.enrol(first_name=name))
        phone.fetch()
        phone.send(phone.seal(finished(case, phone)))
    asked = iter((False, True))
    runtime = case.runtime
    counts = process.process_batches(
        runtime.store, runtime.keys, runtime.library, now=case.now, interrupted=lambda: next(asked)
    )
    assert (counts.recorded, len(responses(case))) == (1, 1)
    assert case.process().recorded == 1


def test_a_form_becomes_a_response_with_scores_and_leaves_what_is_due(case: Case) -> None:
    phone = opened(case)
    phone.send(phone.seal(finished(case, phone)))
    assert case.process().recorded == 1
    with case.store.reading() as session:
        response = session.scalars(select(Response)).one()
        assert {(score.instrument, score.scale): score.value for score in response.scores} == {
            ("pass", "acceptable"): 1,
            ("pain", "pain"): 0,
            ("sane", "sane"): 0,
            ("sst", "total"): 12,
            ("sst", "total_if_blanks_no"): 12,
            ("sst", "total_if_blanks_yes"): 12,
        }
        assert (response.mode, response.window_state, response.counted) == ("own_phone", "in", True)
        history = select(Transition.status_after).where(Transition.timepoint_id == response.timepoint_id)
        assert session.scalars(history).all() == ["open", "answered"]
    assert phone.fetch()[1]["state"] == "nothing_due"


def test_after_recording_the_answers_and_the_envelope_lie_under_the_patients_key(case: Case) -> None:
    phone = opened(case)
    phone.send(phone.seal(finished(case, phone)))
    case.process()
    with case.store.reading() as session:
        response, envelope = session.scalars(select(Response)).one(), session.scalars(select(Envelope)).one()
        handle = session.scalars(select(Patient.handle)).one()
        cipher = case.runtime.keys.patient_cipher(handle)
        parts = json.loads(cipher.open(response.answers, "response.answers"))
        assert [part["instrument"] for part in parts] == ["since@2", "pass@1", "pain@1", "sane@1", "sst@1"]
        assert cipher.open(envelope.body, "envelope.body").decode("ascii").count(".") == 1
    case.runtime.keys.erase_patient_key(handle)
    with pytest.raises(LookupError):
        case.runtime.keys.patient_cipher(handle)


def test_a_warning_answer_raises_a_safety_flag_and_typed_text_goes_to_a_contact_task_only(case: Case) -> None:
    phone = opened(case)

    def choose(item: dict[str, Any]) -> Any:
        special = {"9": 1, "9a": 1, "6": 1, "6a": "canary 555 0199"}
        return special.get(item["item"], best(item)) if item["instrument"] == "since@2" else best(item)

    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], choose, case.now)))
    case.process()
    with case.store.reading() as session:
        flags = {(flag.kind, flag.item): flag.detail for flag in session.scalars(select(Flag))}
        assert ("safety_answer", "since@2/9a") in flags
        assert flags["contact_change", "since@2/6a"] == "canary 555 0199"
        handle = session.scalars(select(Patient.handle)).one()
        answers = case.runtime.keys.patient_cipher(handle).open(
            session.scalars(select(Response.answers)).one(), "response.answers"
        )
        assert b"canary" not in answers
        assert json.loads(answers)[0]["answers"]["6a"]["state"] == "answered"


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"parts": []}, "answers_not_valid"),
        ({"form_id": str(uuid.UUID(int=1))}, "unknown_form"),
        ({"format": 2}, "answers_not_valid"),
        ({"finished_at": "yesterday"}, "answers_not_valid"),
        ({"mode": "telepathy"}, "answers_not_valid"),
        ({"time_zone": "Europe/\0"}, "answers_not_valid"),
        ({"build": "\ud800"}, "answers_not_valid"),
    ],
)
def test_a_payload_that_does_not_fit_is_held_and_nothing_is_recorded(
    case: Case, change: dict[str, Any], reason: str
) -> None:
    phone = opened(case)
    assert phone.send(phone.seal({**finished(case, phone), **change}))[0]["status"] == "stored"
    assert (case.process().held, held(case), responses(case)) == (1, [reason], [])


@pytest.mark.parametrize("value", [2, "1", 1.0, 3.7, True, "٣"])
def test_an_answer_outside_its_codes_is_held_and_the_item_is_named(case: Case, value: Any) -> None:
    phone = opened(case)
    payload = finished(case, phone)
    payload["parts"][-1]["answers"]["4"]["value"] = value
    phone.send(phone.seal(payload))
    case.process()
    with case.store.reading() as session:
        row = session.scalars(select(Envelope)).one()
        assert (row.state, row.held_reason) == ("held", "answers_not_valid")
        assert "sst@1/4" in json.loads(row.held_detail or "{}")


@pytest.mark.parametrize(
    "data", [b"not json", b'{"a":1,"a":2}', b'{"format": NaN}', b'{"clock_skew_ms": 1e999}', b"\xff\xfe"]
)
def test_a_payload_that_is_not_strict_json_is_held(case: Case, data: bytes) -> None:
    phone = opened(case)
    phone.send(phone.seal(data))
    case.process()
    assert held(case) == ["not_json"]


def test_a_wrong_answer_key_an_unknown_key_and_an_altered_envelope_are_held_each_with_its_reason(case: Case) -> None:
    phone = opened(case)
    payload = finished(case, phone)
    good = phone.seal(payload)
    head, body = good.split(".")
    sealed = unb64u(body)
    altered, truncated = (
        f"{head}.{b64u(sealed[:-9] + bytes([sealed[-9] ^ 1]) + sealed[-8:])}",
        f"{head}.{b64u(sealed[:-40])}",
    )
    sent = [phone.seal(payload, answer_key=bytes(32)), phone.seal(payload, key_id="nobodys"), altered, truncated]
    assert {each["status"] for each in phone.send(*sent)} == {"stored"}
    case.process()
    assert held(case) == ["wrong_answer_key", "unknown_key", "not_opened", "same_id_other_content"]


def test_a_form_of_another_patient_is_held_as_unknown(case: Case) -> None:
    phone, other = opened(case), opened(case, ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=365)))
    payload = {**finished(case, phone), "form_id": other.sheet["forms"][0]["form_id"]}
    phone.send(phone.seal(payload))
    case.process()
    assert held(case) == ["unknown_form"]


def test_a_retired_key_opens_for_400_days_and_then_needs_the_key(case: Case) -> None:
    phone = opened(case)
    early, late = phone.seal(finished(case, phone)), phone.seal(finished(case, phone))
    retired_at = case.now
    with case.store.writing() as session:
        session.execute(update(SealingKey).values(retired_at=retired_at))
    case.now = retired_at + timedelta(days=400)
    with case.store.writing() as session:
        key_id, public = case.runtime.keys.new_sealing_key()
        session.add(SealingKey(key_id=key_id, suite=SUITE_ID, point=public_point(public), made_at=case.now))
    phone.send(early)
    assert case.process().recorded == 1
    case.now = retired_at + timedelta(days=401)
    phone.send(late)
    case.process()
    assert held(case) == ["needs_key"]


def test_a_held_envelope_is_taken_again_once_a_person_put_the_cause_right(case: Case) -> None:
    phone = opened(case)
    phone.send(phone.seal(finished(case, phone)))
    keys = case.runtime.keys.folder / "sealing"
    file = next(keys.glob("*.pem"))
    away = file.rename(file.with_suffix(".offline"))
    case.process()
    assert held(case) == ["needs_key"]
    away.rename(file)
    with case.store.writing() as session:
        release(session, session.scalars(select(Envelope)).one(), now=case.now)
    assert case.process().recorded == 1
    assert held(case) == []


def test_a_held_envelope_that_nothing_can_come_of_is_settled_and_its_bytes_stay(case: Case) -> None:
    phone = opened(case)
    envelope = phone.seal(b"not json")
    phone.send(envelope)
    case.process()
    with case.store.writing() as session:
        settle(session, session.scalars(select(Envelope)).one(), "cannot_be_read", now=case.now)
    with case.store.reading() as session:
        row = session.scalars(select(Envelope)).one()
        assert (row.state, row.body.decode()) == ("settled", envelope)


@pytest.mark.parametrize("act", [partial(settle, settled_as="patient_asked"), release], ids=["settle", "release"])
def test_what_is_not_held_is_neither_settled_nor_released(case: Case, act: Callable[..., None]) -> None:
    phone = opened(case)
    phone.send(phone.seal(finished(case, phone)))
    case.process()
    with pytest.raises(NotHeld), case.store.writing() as session:
        act(session, session.scalars(select(Envelope)).one(), now=case.now)
    with case.store.reading() as session:
        assert session.scalars(select(Envelope.state)).one() == "recorded"


def test_a_phone_clock_a_year_wrong_either_way_is_clamped_between_fetch_and_receipt(case: Case) -> None:
    fetched_at = case.now
    phone = opened(case)
    behind = phone.seal({**finished(case, phone), "finished_at": "2025-06-15T10:00:00.000Z"})
    ahead = phone.seal({**finished(case, phone), "finished_at": "2027-06-15T10:00:00.000Z"})
    case.now += timedelta(days=3)
    phone.send(behind, ahead)
    case.process()
    assert [row.finished_at for row in responses(case)] == [fetched_at, case.now]
    assert [row.phone_finished_at.year for row in responses(case) if row.phone_finished_at] == [2025, 2027]


def test_an_answer_finished_in_time_and_received_late_is_in_and_one_finished_late_is_late(case: Case) -> None:
    operated = case.today - timedelta(days=365)
    phone = opened(case, *(ShoulderEntry(side=side, surgery_on=operated) for side in ("left", "right")))
    first, second = phone.sheet["forms"]
    closes_in = timedelta(days=425 - 365)
    in_time = phone.seal(phone.payload(first, best, case.now + closes_in))
    too_late = phone.seal(phone.payload(second, best, case.now + closes_in + timedelta(days=2)))
    case.now += closes_in + timedelta(days=9)
    phone.send(in_time, too_late)
    case.process()
    assert [row.window_state for row in responses(case)] == ["in", "late"]


def test_after_the_token_was_forgotten_what_arrives_is_held(case: Case) -> None:
    phone = opened(case)
    envelope = phone.seal(finished(case, phone))
    with case.store.writing() as session:
        replace_link(session, session.scalars(select(Patient)).one(), now=case.now)
    case.now += timedelta(days=401)
    with case.store.writing() as session:
        assert forget_tokens(session, now=case.now) == 1
    phone.send(envelope)
    case.process()
    assert held(case) == ["wrong_answer_key"]


def test_running_again_with_nothing_waiting_changes_nothing(case: Case) -> None:
    phone = opened(case)
    phone.send(phone.seal(finished(case, phone)))
    case.process()
    again = case.process()
    assert (again.recorded, again.held, len(responses(case))) == (0, 0, 1)


def test_one_envelope_that_breaks_the_program_does_not_hold_up_the_rest(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    operated = case.today - timedelta(days=365)
    phone = opened(case, *(ShoulderEntry(side=side, surgery_on=operated) for side in ("left", "right")))
    poisoned, sound = phone.sheet["forms"]
    phone.send(*(phone.seal(phone.payload(form, best, case.now)) for form in (poisoned, sound)))
    real = check_form

    def broken(timepoint: Timepoint, *arguments: Any, **named: Any) -> Any:
        if timepoint.form_id == poisoned["form_id"]:
            raise ZeroDivisionError
        return real(timepoint, *arguments, **named)

    monkeypatch.setattr(check, "check_form", broken)
    counts = case.process()
    assert (counts.recorded, counts.held, held(case)) == (1, 1, ["fault"])
