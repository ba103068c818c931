"""The whole way: a licensed text, a plan that asks it, a patient who is enrolled, a due sheet, an answer, a score."""

import pytest
from sqlalchemy import select

from scoring.library import load_library
from server.jobs.clock import tick
from server.models import FollowUp, Message, Score
from server.timepoints.plan_file import PlanFileProblem
from tests.clinic_case import Case
from tests.stranger import best
from tests.timepoints.making import NEEDS_PERMISSION, install, license_in, plan_file


def test_an_instrument_that_needs_permission_is_asked_and_scored_once_text_and_plan_are_installed(case: Case) -> None:
    data = plan_file("harbour", "1", "pain@1", NEEDS_PERMISSION)
    with pytest.raises(PlanFileProblem, match=f"{NEEDS_PERMISSION} cannot be sent: it needs its owner's permission"):
        install(case, data)
    license_in(case, NEEDS_PERMISSION, "en")
    with pytest.raises(PlanFileProblem, match="in every language of the clinic"):
        install(case, data)
    license_in(case, NEEDS_PERMISSION, "es")
    install(case, data, default=True)

    patient_id = case.enrol(language="es")
    assert tick(case.runtime).made == 1
    phone = case.phone(patient_id)
    phone.fetch()
    (form,) = phone.sheet["forms"]
    definition = load_library().instrument(NEEDS_PERMISSION)
    assert form["title"] == {"en": "One year", "es": "One year (es)"}
    assert [part["instrument"] for part in form["parts"]] == ["pain@1", NEEDS_PERMISSION]
    assert form["parts"][1]["items"] == [item.item for item in definition.items]
    assert phone.sheet["texts"][NEEDS_PERMISSION]["es"]["text_id"] == f"{NEEDS_PERMISSION}/es/licensed-1"

    phone.send(phone.seal(phone.payload(form, best, case.now)))
    assert case.process().recorded == 1
    with case.store.reading() as session:
        score = session.scalars(select(Score).where(Score.instrument == definition.id)).first()
        assert score is not None and score.status == "scored"
        assert (score.value, score.text_id) == (definition.scales[0].range[0], f"{NEEDS_PERMISSION}/es/licensed-1")
        assert session.scalars(select(FollowUp.plan_id)).one() == "harbour"
    assert phone.fetch()[1]["state"] == "nothing_due"


def test_a_plan_of_the_clinic_s_own_goes_by_the_ladder_in_force(case: Case) -> None:
    install(case, plan_file(), default=True)
    case.enrol()
    tick(case.runtime)
    with case.store.reading() as session:
        assert session.execute(select(Message.step, Message.ladder_version)).all() == [("invitation", "standard@1")]
