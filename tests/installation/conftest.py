"""The small clinic of tests.clinic_case, made live, with nobody in it."""

import pytest
from sqlalchemy import update

from server.models import Clinic
from tests.clinic_case import Case, case

__all__ = ["case"]

OWN_ADDRESS = "https://followup.harbour-shoulder.org"
OWN_SENDER = "Harbour <follow-up@harbour-shoulder.org>"


@pytest.fixture
def live(case: Case) -> Case:
    changed(case, mode="live", base_url=OWN_ADDRESS, mail_from=OWN_SENDER)
    return case


def changed(case: Case, **values: object) -> None:
    with case.store.writing() as session:
        session.execute(update(Clinic).values(values))
