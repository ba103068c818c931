"""Staff enter no answers to a text that the clinic may not ask: undecided, altered, not installed, of an instrument not to be sent."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from server.clinic.entries import ShoulderEntry
from server.intake import enter
from server.intake.check import form_of
from server.intake.enter import Entered, NotToBeAsked, WhyNotAsked, enter_form
from server.models import InstalledText, Response, Timepoint
from server.queries.texts_in_force import read_wording
from server.timepoints.plans import read_plans
from tests.clinic_case import Case
from tests.texts.going_live import data_manager, decide, go_live
from tests.texts.making import text_file
from tests.texts.test_sending import INSTRUMENTS, install
from tests.texts.test_withdrawal import withdraw

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def blank(case: Case, spec: str, name: str) -> dict[str, str]:
    follows = case.runtime.library.instrument(spec).by_item[name].asked_if
    return {"state": "skipped" if follows else "declined"}


def form(case: Case, texts: dict[str, str]) -> tuple[int, list[dict[str, Any]]]:
    """The open timepoint, and a form that leaves every item blank, in descriptive words unless `texts` names others."""
    library = case.runtime.library
    with case.store.reading() as session:
        timepoint = session.scalars(select(Timepoint).where(Timepoint.code == "year-1")).one()
        parts = [
            {
                "instrument": part.instrument,
                "text_id": texts.get(part.instrument, f"{part.instrument}/en/descriptive-1"),
                "answers": {name: blank(case, part.instrument, name) for name in part.items},
            }
            for part in form_of(timepoint, read_plans(session), library)
        ]
        return timepoint.id, parts


def enter_paper(case: Case, *, answered_at: datetime | None = None, **texts: str) -> int:
    timepoint_id, parts = form(case, {spec.replace("_", "@"): text_id for spec, text_id in texts.items()})
    by_id = data_manager(case)
    entered = Entered("paper", "patient", "en", answered_at or case.now, by_id)
    with case.store.writing() as session:
        timepoint = session.get_one(Timepoint, timepoint_id)
        return enter_form(
            session, timepoint, parts, entered, library=case.runtime.library, keys=case.runtime.keys, now=case.now
        )


def responses(case: Case) -> int:
    with case.store.reading() as session:
        return len(session.scalars(select(Response.id)).all())


def enrol(case: Case) -> None:
    case.enrol(ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=365)))


def test_a_demo_enters_answers_to_descriptive_texts(case: Case) -> None:
    enrol(case)
    enter_paper(case)
    assert responses(case) == 1


def test_a_live_clinic_refuses_answers_to_texts_that_nobody_decided_on(case: Case) -> None:
    go_live(case)
    enrol(case)
    with pytest.raises(NotToBeAsked) as refused:
        enter_paper(case)
    undecided = {f"{spec}/en/descriptive-1": WhyNotAsked.UNDECIDED for spec in INSTRUMENTS}
    assert refused.value.reasons == undecided, "the project's own form needs no decision"
    assert responses(case) == 0
    decide(case)
    enter_paper(case)
    assert responses(case) == 1


def test_answers_given_while_a_decision_stood_are_taken_after_its_withdrawal_and_later_ones_are_not(case: Case) -> None:
    go_live(case)
    enrol(case)
    case.now += timedelta(days=1)
    decision_id, decided_at = decide(case), case.now
    case.now += timedelta(days=5)
    withdraw(case, decision_id)
    case.now += timedelta(days=1)
    for at in (case.now, decided_at - timedelta(hours=1)):
        with pytest.raises(NotToBeAsked, match="undecided"):
            enter_paper(case, answered_at=at)
    enter_paper(case, answered_at=decided_at + timedelta(days=2))
    assert responses(case) == 1


def test_a_licensed_text_is_taken_and_one_that_was_altered_is_refused(case: Case) -> None:
    go_live(case)
    enrol(case)
    decide(case)
    install(case, "sst@1", "en")
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(content=text_file("sst@1", "en", words="altered").decode()))
    with pytest.raises(NotToBeAsked, match=r"^sst@1/en/licensed-1: altered$"):
        enter_paper(case, sst_1="sst@1/en/licensed-1")
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(content=text_file("sst@1", "en").decode()))
    enter_paper(case, sst_1="sst@1/en/licensed-1")
    assert responses(case) == 1


def test_a_text_that_is_not_installed_is_refused(case: Case) -> None:
    enrol(case)
    with pytest.raises(NotToBeAsked, match=r"^sst@1/en/licensed-9: unknown$"):
        enter_paper(case, sst_1="sst@1/en/licensed-9")
    assert responses(case) == 0


def test_an_instrument_that_cannot_be_sent_cannot_be_entered_either(case: Case) -> None:
    """No shipped plan holds such an instrument, so the rule is asked directly."""
    with case.store.reading() as session:
        wording = read_wording(session, case.runtime.library)
        assert enter._why_not("oss@1", "oss@1/en/descriptive-1", {}, wording) == WhyNotAsked.NEEDS_LICENCE
        assert enter._why_not("sst@1", "sst@1/en/descriptive-1", {}, wording) is None
