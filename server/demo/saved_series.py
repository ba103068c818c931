"""Two series that the surgeon saved: one set before anybody looked, with a second version; one that was explored."""

from datetime import timedelta
from functools import partial

from server.clinic.saved_series import ToSave, correct_series, save_series, save_version
from server.demo.simulation import Simulation
from server.models import Series
from server.models.series import EXPLORED, SET_BEFORE_LOOKING
from server.outcomes.series.sentence import Sentence, Span
from server.staff.series.saved_address import options_text, sentence_text

INTACT = Sentence(diagnosis=("osteoarthritis",), cuff=("intact",))
LATER = Sentence(diagnosis=("osteoarthritis",), cuff=("intact",), years=Span(2012, None))
RESURFACED = Sentence(procedure=("resurfacing",))
NONE_DECLARED = "None: every author here is invented."
DAYS_AGO = 270


def plan_saved_series(simulation: Simulation) -> None:
    """Some months before the end of the past, and a correction of the words a month later."""
    began = simulation.until - timedelta(days=DAYS_AGO)
    simulation.plan(began, partial(_save, simulation))
    simulation.plan(began + timedelta(days=30), partial(_save_again, simulation))


def _save(simulation: Simulation) -> None:
    by = simulation.staff.surgeon_id
    with simulation.runtime.store.writing() as session:
        first = ToSave(1, sentence_text(INTACT), "", SET_BEFORE_LOOKING)
        series, _version = save_series(session, "Intact cuff, first implants", first, now=simulation.now, by_id=by)
        named = {"name": series.name, "interests": NONE_DECLARED}
        correct_series(session, series, named, now=simulation.now, by_id=by)
        note = "What the resurfaced look like, for the department’s evening."
        explored = ToSave(1, sentence_text(RESURFACED), options_text({"by": "sex"}), EXPLORED, note)
        save_series(session, "Resurfacing, men and women", explored, now=simulation.now, by_id=by)


def _save_again(simulation: Simulation) -> None:
    with simulation.runtime.store.writing() as session:
        series = session.get_one(Series, 1)
        note = "the years changed: before 2012 few were asked"
        second = ToSave(2, sentence_text(LATER), "", SET_BEFORE_LOOKING, note)
        save_version(session, series, second, now=simulation.now, by_id=simulation.staff.surgeon_id)
