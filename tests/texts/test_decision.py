"""Going live with descriptive texts is decided by a person, on record, and asked again when a text comes that nobody decided on."""

import json

import pytest
from sqlalchemy import select

from server.models import AuditEntry, TextDecision
from server.queries.clock import the_clinic
from server.texts.decision import (
    DecisionRefused,
    descriptive_in_use,
    record_decision,
    set_hash,
    what_waits,
)
from tests.clinic_case import Case
from tests.texts.going_live import WHY, data_manager, decide, go_live
from tests.texts.test_sending import INSTRUMENTS, install

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def open_ids(case: Case) -> list[str]:
    with case.store.reading() as session:
        return [each.text_id for each in descriptive_in_use(session, case.runtime.library) if not each.decided]


def test_it_is_about_the_instruments_of_the_plan_in_the_languages_of_the_clinic(case: Case) -> None:
    assert open_ids(case) == []
    go_live(case)
    assert open_ids(case) == [f"{spec}/{code}/descriptive-1" for spec in INSTRUMENTS for code in ("en", "es")]
    install(case, "sst@1", "es")
    assert "sst@1/es/descriptive-1" not in open_ids(case)


def test_a_decision_names_who_when_which_texts_and_why(case: Case) -> None:
    go_live(case)
    wanted = open_ids(case)
    decision_id = decide(case)
    with case.store.reading() as session:
        decision = session.get_one(TextDecision, decision_id)
        assert (decision.words, decision.decided_at, decision.by_id) == (WHY, case.now, data_manager(case))
        assert decision.text_ids.split(",") == sorted(wanted)
        assert decision.sha256.hex() == set_hash(wanted)
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "texts:decided")).one()
        assert json.loads(entry.detail or "{}") == {"sha256": set_hash(wanted), "texts": sorted(wanted)}
    assert open_ids(case) == []


def test_a_new_language_is_asked_about_again(case: Case) -> None:
    go_live(case)
    with case.store.writing() as session:
        the_clinic(session).languages = "en"
    decide(case)
    assert open_ids(case) == []
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es"
    assert open_ids(case) == [f"{spec}/es/descriptive-1" for spec in INSTRUMENTS]


@pytest.mark.parametrize(
    ("words", "shown", "said"),
    [
        ("short", "", "in 10 to 2000 characters"),
        ("x" * 2001, "", "in 10 to 2000 characters"),
        (WHY, "0" * 64, "have changed since this page was shown"),
    ],
)
def test_what_is_not_complete_or_no_longer_true_is_not_recorded(case: Case, words: str, shown: str, said: str) -> None:
    go_live(case)
    by_id = data_manager(case)
    right = shown or set_hash(open_ids(case))
    with pytest.raises(DecisionRefused, match=said), case.store.writing() as session:
        record_decision(session, case.runtime.library, shown=right, words=words, now=case.now, by_id=by_id)
    assert len(open_ids(case)) == 8


def test_a_demo_decides_nothing(case: Case) -> None:
    with pytest.raises(DecisionRefused, match="A demo needs no decision"):
        decide(case)


def test_with_licensed_texts_throughout_there_is_nothing_to_decide(case: Case) -> None:
    go_live(case)
    for spec in INSTRUMENTS:
        install(case, spec, "en")
        install(case, spec, "es")
    with pytest.raises(DecisionRefused, match="nothing to decide"):
        decide(case)


def test_what_waits_is_counted_by_forms_and_patients(case: Case) -> None:
    go_live(case)
    case.enrol()
    case.enrol(first_name="Ben", last_name="Birch")
    with case.store.reading() as session:
        waiting = what_waits(session, case.runtime.library, case.today)
    assert (waiting.forms, waiting.patients, len(waiting.undecided), waiting.anything) == (2, 2, 8, True)
    decide(case)
    with case.store.reading() as session:
        assert not what_waits(session, case.runtime.library, case.today).anything


def test_what_has_no_text_in_any_language_of_the_clinic_is_named(case: Case) -> None:
    with case.store.writing() as session:
        the_clinic(session).languages = "fr"
    with case.store.reading() as session:
        waiting = what_waits(session, case.runtime.library, case.today)
    assert "sst@1" in waiting.wordless and waiting.anything and not waiting.undecided
    with case.store.writing() as session:
        the_clinic(session).languages = "fr,es"
    with case.store.reading() as session:
        assert what_waits(session, case.runtime.library, case.today).wordless == ()
