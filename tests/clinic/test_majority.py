"""Who came of age with a consent that somebody else gave stands on Today, once, until there is nothing to ask any more."""

from datetime import date

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.majority import propose_asking_again, settle_what_was_asked
from server.models import Flag, Patient
from tests.clinic.cast import Desk, ada_but
from tests.storehouse import NOW, TODAY


def of_age(desk: Desk, session: Session) -> Patient:
    """Eighteen since yesterday; consented to research two years ago, by nobody knows whom."""
    patient = desk.enrol(session, ada_but(birth_on=date(TODAY.year - 18, TODAY.month, TODAY.day - 1)))
    for consent in patient.consents:
        consent.given_on, consent.given_by = date(TODAY.year - 2, 1, 1), None
    session.flush()
    return patient


def settled(session: Session) -> list[bool]:
    return [at is not None for at in session.scalars(select(Flag.settled_at).order_by(Flag.id))]


def test_a_row_is_raised_once_and_settled_when_nobody_follows_the_patient_any_more(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = of_age(desk, session)
        assert [propose_asking_again(session, now=NOW) for _again in range(2)] == [1, 0]
        settle_what_was_asked(session, now=NOW)
        assert settled(session) == [False]
        patient.transferred_on = TODAY
        settle_what_was_asked(session, now=NOW)
        assert settled(session) == [True]
        patient.transferred_on = None
        assert propose_asking_again(session, now=NOW) == 0, "who settles the row has asked"


@pytest.mark.parametrize("born", [date(1957, 3, 28), date(TODAY.year - 18, TODAY.month, TODAY.day + 1)])
def test_adults_and_children_are_not_asked(desk: Desk, born: date) -> None:
    with desk.store.writing() as session:
        desk.enrol(session, ada_but(birth_on=born))
        assert propose_asking_again(session, now=NOW) == 0


def test_who_consented_of_age_is_not_asked(desk: Desk) -> None:
    with desk.store.writing() as session:
        for consent in of_age(desk, session).consents:
            consent.given_on, consent.given_by = TODAY, "self"
        session.flush()
        assert propose_asking_again(session, now=NOW) == 0
