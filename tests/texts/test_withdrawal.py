"""A decision on descriptive texts is withdrawn: on record, from now on, and only once."""

import json

import pytest
from sqlalchemy import func, select, update

from server.jobs.clock import tick
from server.models import AuditEntry, Response, TextDecision, TextWithdrawal
from server.queries.clock import the_clinic
from server.texts.decision import DecisionRefused, decisions, descriptive_in_use, what_waits, withdraw_decision
from tests.clinic_case import Case
from tests.stranger import best
from tests.texts.going_live import WHY, data_manager, decide, go_live
from tests.texts.test_sending import messages, sheet_of

# What may be sent is the same on either database; test_sending.py asks both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

BACK = "The licence arrived; nobody is to be asked in our words."


def withdraw(case: Case, decision_id: int, words: str = BACK) -> None:
    by_id = data_manager(case)
    with case.store.writing() as session:
        withdraw_decision(session, decision_id, words=words, now=case.now, by_id=by_id)


def undecided(case: Case) -> int:
    with case.store.reading() as session:
        return len(what_waits(session, case.runtime.library, case.today).undecided)


def in_use(case: Case) -> int:
    with case.store.reading() as session:
        return len(descriptive_in_use(session, case.runtime.library))


def test_it_stays_readable_with_who_when_and_why(case: Case) -> None:
    go_live(case)
    decision_id = decide(case)
    withdraw(case, decision_id, f"  {BACK}\n")
    with case.store.reading() as session:
        ((decision, withdrawal),) = decisions(session)
        assert decision.words == WHY and withdrawal is not None
        assert (withdrawal.words, withdrawal.withdrawn_at, withdrawal.by_id) == (BACK, case.now, data_manager(case))
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "texts:decision-withdrawn")).one()
        assert (entry.thing, entry.by_id) == (f"text decision {decision_id}", data_manager(case))
        assert json.loads(entry.detail or "{}") == {"texts": decision.text_ids.split(",")}


def test_what_it_covered_is_sent_no_more_and_waits_again(case: Case) -> None:
    go_live(case)
    patient_id = case.enrol()
    decision_id = decide(case)
    assert sheet_of(case, patient_id)["state"] == "due"
    withdraw(case, decision_id)
    assert undecided(case) == 8
    case.process()  # publishes the sheets that the withdrawal marked
    phone = case.phone(patient_id)
    assert phone.fetch()[1]["state"] == "nothing_due"
    assert tick(case.runtime).made == 0 and messages(case) == 0
    decide(case)
    assert sheet_of(case, patient_id)["state"] == "due"
    assert tick(case.runtime).made == 1


def test_what_another_decision_covers_too_goes_on(case: Case) -> None:
    go_live(case)
    with case.store.writing() as session:
        the_clinic(session).languages = "en"
    first = decide(case)
    one_language = in_use(case)
    assert undecided(case) == 0
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es"
    decide(case, "Decided for the Spanish ones too.")
    withdraw(case, first)
    assert in_use(case) == 2 * one_language
    assert undecided(case) == 0


def test_a_decision_that_is_pressed_twice_is_recorded_once(case: Case) -> None:
    """Otherwise the second would go on covering what the first covered, after that was withdrawn."""
    go_live(case)
    first = decide(case)
    with pytest.raises(DecisionRefused, match="cover all of these texts already; nothing was changed"):
        decide(case)
    withdraw(case, first)
    assert undecided(case) > 0
    assert decide(case) > first


@pytest.mark.parametrize("sign", ["\u202e", "\x00", "\u200b", "\ue000"])
def test_words_with_signs_that_nobody_can_see_are_refused(case: Case, sign: str) -> None:
    go_live(case)
    with pytest.raises(DecisionRefused, match="a sign that nobody can see"):
        decide(case, f"The owners' texts are on order{sign}.")
    first = decide(case)
    with pytest.raises(DecisionRefused, match="a sign that nobody can see"):
        withdraw(case, first, f"No longer wanted{sign}, by nobody.")


def test_a_list_that_was_altered_in_the_database_covers_nothing(case: Case) -> None:
    go_live(case)
    decide(case)
    with case.store.writing() as session:
        session.execute(update(TextDecision).values(text_ids=TextDecision.text_ids + ",sst@1/fr/descriptive-1"))
    assert undecided(case) == in_use(case)


def test_answers_already_given_stay_and_those_on_their_way_are_taken_in(case: Case) -> None:
    go_live(case)
    patient_id, decision_id = case.enrol(), decide(case)
    case.publish(patient_id)
    phone = case.phone(patient_id)
    phone.fetch()
    sealed = phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now))
    withdraw(case, decision_id)
    phone.send(sealed)
    assert case.process().recorded == 1
    with case.store.reading() as session:
        assert session.scalar(select(func.count()).select_from(Response)) == 1


def test_a_second_press_says_that_it_is_withdrawn_already_and_changes_nothing(case: Case) -> None:
    go_live(case)
    decision_id = decide(case)
    withdraw(case, decision_id)
    with pytest.raises(DecisionRefused, match="withdrawn already; nothing was changed"):
        withdraw(case, decision_id, "Some other reason than before.")
    with case.store.reading() as session:
        assert session.scalars(select(TextWithdrawal.words)).all() == [BACK]
        assert (
            len(session.scalars(select(AuditEntry).where(AuditEntry.action == "texts:decision-withdrawn")).all()) == 1
        )


@pytest.mark.parametrize("words", ["", "too short", "x" * 2001])
def test_without_a_reason_nothing_is_withdrawn(case: Case, words: str) -> None:
    go_live(case)
    decision_id = decide(case)
    with pytest.raises(DecisionRefused, match="in 10 to 2000 characters why the decision is withdrawn"):
        withdraw(case, decision_id, words)
    assert undecided(case) == 0


def test_a_decision_that_does_not_exist_is_none(case: Case) -> None:
    with pytest.raises(LookupError):
        withdraw(case, 7)
    with case.store.reading() as session:
        assert session.scalars(select(TextDecision.id)).all() == []
