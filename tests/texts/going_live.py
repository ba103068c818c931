"""A live clinic: its mode is set, and a data manager may decide on its descriptive texts."""

from sqlalchemy import select

from server.models import StaffAccount
from server.queries.clock import the_clinic
from server.texts.decision import descriptive_in_use, record_decision, set_hash
from tests.clinic_case import Case
from tests.storehouse import add_account

WHY = "The owners' texts are on order; asked in plain words until then."


def go_live(case: Case) -> None:
    with case.store.writing() as session:
        the_clinic(session).mode = "live"


def data_manager(case: Case) -> int:
    with case.store.writing() as session:
        found = session.scalar(select(StaffAccount.id).where(StaffAccount.role == "data_manager"))
        return found or add_account(session, "manager@clinic.example", "data_manager").id


def decide(case: Case, words: str = WHY) -> int:
    """The id of the decision on all descriptive texts in use."""
    by_id = data_manager(case)
    library = case.runtime.library
    with case.store.writing() as session:
        shown = set_hash([each.text_id for each in descriptive_in_use(session, library)])
        return record_decision(session, library, shown=shown, words=words, now=case.now, by_id=by_id).id
