"""A plan is installed once and never changes; one of the plans that can be sent starts new follow-ups."""

import hashlib
import json
from typing import Any

import pytest
from sqlalchemy import event, select, update

from scoring.library import load_library
from server.models import AuditEntry, FollowUp, InstalledPlan, InstalledText
from server.queries.clock import the_clinic
from server.timepoints.plan_install import PlanRefused, check_for_clinic, install_plan
from server.timepoints.plan_use import list_plans
from server.timepoints.plans import read_plans, shipped_plans
from tests.clinic_case import Case
from tests.texts.making import text_file
from tests.timepoints.making import NEEDS_PERMISSION, choose, install, license_in, plan_file

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def installed(case: Case) -> list[str]:
    with case.store.reading() as session:
        return sorted(row.name for row in session.scalars(select(InstalledPlan)))


def audited(case: Case, action: str) -> list[dict[str, Any]]:
    with case.store.reading() as session:
        details = session.scalars(select(AuditEntry.detail).where(AuditEntry.action == action).order_by(AuditEntry.id))
        return [json.loads(each or "{}") for each in details]


def test_the_same_bytes_are_installed_once_and_audited_once(case: Case) -> None:
    data = plan_file()
    assert install(case, data) == install(case, data) == "harbour@1"
    with case.store.reading() as session:
        row = session.scalars(select(InstalledPlan)).one()
        assert (row.content.encode(), row.installed_at, row.installed_by_id) == (data, case.now, None)
        (entry,) = audited(case, "plan:installed")
        assert entry == {"sha256": row.sha256.hex()}


def test_another_content_under_an_installed_name_is_refused_and_changes_nothing(case: Case) -> None:
    install(case, plan_file())
    with pytest.raises(PlanRefused, match="version: harbour@1 was installed on 2026-06-15 with other content"):
        install(case, plan_file(title="Another"))
    assert install(case, plan_file("harbour", "2", title="Another")) == "harbour@2"
    assert installed(case) == ["harbour@1", "harbour@2"]
    assert len(audited(case, "plan:installed")) == 2


def test_a_name_of_the_program_is_refused_unless_it_is_that_very_plan(case: Case) -> None:
    with pytest.raises(PlanRefused, match="id: standard@1 comes with the program and asks something else"):
        install(case, plan_file("standard", "1"))
    library = load_library()
    with case.store.writing() as session:
        checked = check_for_clinic(session, json.dumps(library.plans["standard@1"], indent=1).encode(), library)
        done = install_plan(session, checked, library, now=case.now, by_id=None)
    assert (done.already, done.shipped, installed(case)) == (True, True, [])


def test_what_the_clinic_installed_stays_what_its_name_means(case: Case) -> None:
    """A later version of the program may ship a plan under the same name."""
    install(case, plan_file())
    with case.store.writing() as session:
        session.execute(update(InstalledPlan).values(plan_id="standard", version="1"))
        row = session.scalars(select(InstalledPlan)).one()
        content = row.content.replace('"harbour"', '"standard"')
        row.content, row.sha256 = content, hashlib.sha256(content.encode()).digest()
    with case.store.reading() as session:
        assert read_plans(session).named("standard@1").title == "Harbour follow-up"
    assert shipped_plans()["standard@1"].title == "Standard follow-up"


def test_new_follow_ups_start_with_the_default_and_running_ones_keep_theirs(case: Case) -> None:
    case.enrol()
    name = install(case, plan_file())
    assert (choose(case, name), choose(case, name)) == (True, False)
    case.enrol(first_name="Bo", last_name="Berry", email="bo@patient.example")
    with case.store.reading() as session:
        plans = session.scalars(select(FollowUp.plan_id).order_by(FollowUp.id)).all()
        listed = [(each.name, each.default, each.running) for each in list_plans(session)]
    assert plans == ["standard", "harbour"]
    assert listed == [
        ("harbour@1", True, 1),
        ("close@1", False, 0),
        ("standard@1", False, 0),
        ("standard@2", False, 0),
        ("standard@3", False, 1),
    ]
    assert audited(case, "plan:default") == [{"before": "standard@3"}]


def test_a_plan_that_is_not_there_is_no_default(case: Case) -> None:
    with pytest.raises(
        PlanRefused,
        match=r"harbour@1 cannot be used: there is none of this name; there are: close@1, standard@1, standard@2, standard@3",
    ):
        choose(case, "harbour@1")
    with case.store.reading() as session:
        assert the_clinic(session).default_plan == "standard@3"


def test_a_plan_whose_licensed_text_is_gone_is_no_default(case: Case) -> None:
    license_in(case, NEEDS_PERMISSION, "en", "es")
    name = install(case, plan_file("harbour", "1", NEEDS_PERMISSION))
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es,ar"
    with pytest.raises(PlanRefused, match=f"{NEEDS_PERMISSION} needs its owner's permission"):
        choose(case, name)
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es"
    assert choose(case, name)


def test_a_plan_whose_licensed_text_was_altered_is_no_default(case: Case) -> None:
    license_in(case, "sst@1", "es")
    name = install(case, plan_file())
    altered = text_file("sst@1", "es", words="altered").decode()
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(content=altered))
    with pytest.raises(PlanRefused, match=r"the words of sst@1/es/licensed-1 were altered"):
        choose(case, name)


def test_a_session_asks_for_the_plans_once(case: Case) -> None:
    install(case, plan_file(), default=True)
    patients = [case.enrol(first_name=name, email=f"{name}@patient.example") for name in ("ann", "bo", "cy")]
    asked = []
    event.listen(
        case.store.engine,
        "before_cursor_execute",
        lambda _c, _cursor, statement, *_rest: asked.append(statement) if "installed_plan" in statement else None,
    )
    phones = [case.phone(patient_id) for patient_id in patients]
    for phone in phones:
        phone.fetch()
        (form,) = phone.sheet["forms"]
        phone.send(phone.seal(phone.payload(form, lambda item: item.get("min", 1), case.now)))
    asked.clear()
    assert case.process().recorded == 3
    assert len(asked) == 2, "one for the batch, one for the sheets"
