"""What the clinic decides: which plan new patients get, the years of surgery that it searched, the random quarter of the silent."""

from collections.abc import Callable
from datetime import date, timedelta
from functools import partial

from sqlalchemy import select

from server.clinic.settings import change_settings, make_default
from server.clinic.silence_draw import draw_quarter
from server.demo.answering import Answering
from server.demo.binder import CLOSELY_UNTIL_DAYS, closely_from, typing_began
from server.demo.invent import PLAYED_YEARS
from server.demo.lifetime import as_life_table
from server.demo.simulation import Simulation
from server.models import Timepoint
from server.outcomes.life_tables import install_life_table

LIFE_TABLE, LIFE_TABLE_DAYS = "Invented for this demonstration: Gompertz's law, of no country", 250
CLOSE, STANDARD = "close@1", "standard@3"
SEARCHED_YEARS = (
    14  # before those the theatre's books are lost: whoever was operated on then is watched from the day of enrolment
)
LAST_DRAWN_DAYS = 5
DRAWN_EVERY_DAYS = ((365, 14), (PLAYED_YEARS * 366, 28))  # by how many days before today; not more often than passes


def plan_desk(simulation: Simulation, typed_in: int, of_patient: Callable[[int], Answering]) -> None:
    """`typed_in`: how many of the old series were."""
    today = simulation.day(simulation.until)
    began = typing_began(today)
    if typed_in:
        simulation.plan(simulation.at(closely_from(today, typed_in), 8), partial(_start_with, simulation, CLOSE))
        until = today - timedelta(days=CLOSELY_UNTIL_DAYS)
        simulation.plan(simulation.at(until, 8), partial(_start_with, simulation, STANDARD))
        simulation.plan(simulation.at(began + timedelta(days=60), 16), partial(_searched, simulation, began))
    simulation.plan(simulation.at(today - timedelta(days=LIFE_TABLE_DAYS), 16), partial(_install_table, simulation))
    ago = LAST_DRAWN_DAYS
    for until_days, every in DRAWN_EVERY_DAYS:
        while ago < until_days:
            at = simulation.at(today - timedelta(days=ago), 8, 30)
            simulation.plan(at, partial(_draw, simulation, f"invented {ago}", of_patient))
            ago += every


def _start_with(simulation: Simulation, plan: str) -> None:
    with simulation.runtime.store.writing() as session:
        library, by_id = simulation.runtime.library, simulation.staff.nurse_id
        make_default(session, library, plan, now=simulation.now, by_id=by_id)


def _searched(simulation: Simulation, on: date) -> None:
    years = f"{on.year - SEARCHED_YEARS}-{on.year}"
    with simulation.runtime.store.writing() as session:
        change_settings(session, {"searched_years": years}, now=simulation.now, by_id=simulation.staff.nurse_id)


def _install_table(simulation: Simulation) -> None:
    with simulation.runtime.store.writing() as session:
        by_id = simulation.staff.surgeon_id
        install_life_table(session, as_life_table(), LIFE_TABLE, now=simulation.now, by_id=by_id)


def _draw(simulation: Simulation, seed: str, of_patient: Callable[[int], Answering]) -> None:
    """Before anybody calls; then the drawn are pursued to the end."""
    today, by_id = simulation.today, simulation.staff.nurse_id
    simulation.open_envelopes()
    with simulation.runtime.store.writing() as session:
        draw_quarter(session, now=simulation.now, today=today, by_id=by_id, seed=seed)
        cast = select(Timepoint.patient_id, Timepoint.form_id, Timepoint.drawn_on).where(Timepoint.lot_cast_on == today)
        found = session.execute(cast.order_by(Timepoint.id)).all()
    for patient_id, form_id, drawn_on in found:
        of_patient(patient_id).lot_cast(form_id, drawn=drawn_on is not None)
