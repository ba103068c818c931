"""Every staff page against every role and nobody. The table below is written by hand, so that a route without a decision fails."""

import re

import pytest
from flask import Flask

from server.staff.routes import ROUTES
from tests.staff.staff_case import ROLES, StaffCase

# What a page says is the same on either database.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

CARE = {"nurse", "surgeon"}
ALL = {"nurse", "surgeon", "data_manager"}
OPEN: set[str] = {"nobody", *ALL}

WHO_MAY = {
    "GET /sign-in": OPEN,
    "POST /sign-in": OPEN,
    "GET /sign-in/second-step": ALL,
    "POST /sign-in/second-step": ALL,
    "POST /sign-out": ALL,
    "GET /account/second-factor": ALL,
    "POST /account/second-factor/passkey": ALL,
    "POST /account/second-factor/passkey/made": ALL,
    "POST /account/second-factor/app": ALL,
    "POST /account/second-factor/app/confirmed": ALL,
    "POST /account/second-factor/recovery-codes": ALL,
    "POST /account/second-factor/recovery-codes/arrived": ALL,
    "POST /account/second-factor/<kind>/<int:factor_id>/remove": ALL,
    "POST /account/second-factor/<kind>/<int:factor_id>/name": ALL,
    "GET /account": ALL,
    "POST /account/language": ALL,
    "POST /account/password": ALL,
    "POST /account/sessions": ALL,
    "GET /accounts": {"data_manager"},
    "GET /accounts/new": {"data_manager"},
    "POST /accounts/new": {"data_manager"},
    "GET /accounts/<int:account_id>": {"data_manager"},
    "POST /accounts/<int:account_id>": {"data_manager"},
    "POST /accounts/<int:account_id>/invitation": {"data_manager"},
    "POST /accounts/<int:account_id>/shut": {"data_manager"},
    "POST /accounts/<int:account_id>/open": {"data_manager"},
    "POST /accounts/<int:account_id>/unlock": {"data_manager"},
    "POST /accounts/<int:account_id>/sessions": {"data_manager"},
    "POST /accounts/<int:account_id>/sessions/<int:session_id>": {"data_manager"},
    "POST /accounts/<int:account_id>/second-factor": {"data_manager"},
    "GET /invitation": OPEN,
    "POST /invitation": OPEN,
    "GET /today": CARE,
    "GET /timepoints/<int:timepoint_id>/message": CARE,
    "POST /timepoints/<int:timepoint_id>/message": CARE,
    "GET /patients": CARE,
    "GET /patients/new": CARE,
    "POST /patients/new": CARE,
    "GET /patients/<int:patient_id>": CARE,
    "GET /patients/<int:patient_id>/enrolled": CARE,
    "GET /patients/<int:patient_id>/letter": CARE,
    "GET /patients/<int:patient_id>/take-home.pdf": CARE,
    "POST /patients/<int:patient_id>/attempts": CARE,
    "POST /patients/<int:patient_id>/link": CARE,
    "POST /patients/<int:patient_id>/unlock": CARE,
    "POST /patients/<int:patient_id>/birth-date": CARE,
    "POST /patients/<int:patient_id>/contact": CARE,
    "POST /patients/<int:patient_id>/leave": CARE,
    "POST /patients/<int:patient_id>/contacts/attempts/<int:attempt_id>/back": CARE,
    "POST /patients/<int:patient_id>/contacts/messages/<int:message_id>/again": CARE,
    "GET /patients/<int:patient_id>/contacts": CARE,
    "POST /patients/<int:patient_id>/contacts/attempts/<int:attempt_id>": CARE,
    "POST /patients/<int:patient_id>/contacts/messages/<int:message_id>": CARE,
    "GET /patients/<int:patient_id>/details": CARE,
    "POST /patients/<int:patient_id>/details": CARE,
    "GET /patients/<int:patient_id>/leave": CARE,
    "POST /patients/<int:patient_id>/leave/<end>": CARE,
    "GET /patients/<int:patient_id>/consents": CARE,
    "POST /patients/<int:patient_id>/consents": CARE,
    "POST /patients/<int:patient_id>/consents/<int:consent_id>": CARE,
    "POST /patients/<int:patient_id>/capacity": CARE,
    "POST /patients/<int:patient_id>/who-answered": CARE,
    "GET /patients/<int:patient_id>/numbers": CARE,
    "POST /patients/<int:patient_id>/numbers": CARE,
    "POST /patients/<int:patient_id>/numbers/<int:number_id>": CARE,
    "GET /patients/<int:patient_id>/operations/<int:operation_id>/side": CARE,
    "POST /patients/<int:patient_id>/operations/<int:operation_id>/side": CARE,
    "GET /responses/<int:response_id>/place": CARE,
    "POST /responses/<int:response_id>/place": CARE,
    "GET /patients/<int:patient_id>/in-error": CARE,
    "POST /patients/<int:patient_id>/in-error": CARE,
    "POST /patients/<int:patient_id>/operations/<int:operation_id>/in-error": CARE,
    "GET /patients/<int:patient_id>/same-person": CARE,
    "POST /patients/<int:patient_id>/same-person": CARE,
    "POST /patients/<int:patient_id>/same-person/<int:merge_id>/undo": CARE,
    "GET /patients/<int:patient_id>/operations/new": CARE,
    "POST /patients/<int:patient_id>/operations/new": CARE,
    "GET /patients/<int:patient_id>/operations/<int:operation_id>/edit": CARE,
    "POST /patients/<int:patient_id>/operations/<int:operation_id>/edit": CARE,
    "POST /patients/<int:patient_id>/operations/<int:operation_id>": CARE,
    "GET /patients/<int:patient_id>/events/new": CARE,
    "POST /patients/<int:patient_id>/events/new": CARE,
    "GET /patients/<int:patient_id>/events/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/events/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/events/<int:row_id>/in-error": CARE,
    "POST /patients/<int:patient_id>/events/<int:row_id>/recorded-as": CARE,
    "GET /patients/<int:patient_id>/findings/new": CARE,
    "POST /patients/<int:patient_id>/findings/new": CARE,
    "GET /patients/<int:patient_id>/findings/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/findings/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/findings/<int:row_id>/in-error": CARE,
    "GET /patients/<int:patient_id>/sources/new": CARE,
    "POST /patients/<int:patient_id>/sources/new": CARE,
    "GET /patients/<int:patient_id>/sources/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/sources/<int:row_id>": CARE,
    "POST /patients/<int:patient_id>/sources/<int:row_id>/in-error": CARE,
    "GET /patients/<int:patient_id>/findings/<int:row_id>/constant": CARE,
    "POST /patients/<int:patient_id>/findings/<int:row_id>/constant": CARE,
    "POST /patients/<int:patient_id>/findings/<int:row_id>/constant/in-error": CARE,
    "GET /patients/<int:patient_id>/last-known": CARE,
    "POST /patients/<int:patient_id>/lost": CARE,
    "POST /flags/<int:flag_id>/event": CARE,
    "POST /responses/<int:response_id>/event": CARE,
    "GET /log": CARE,
    "POST /log": CARE,
    "GET /log/<int:line_id>": CARE,
    "POST /log/<int:line_id>": CARE,
    "POST /log/<int:line_id>/in-error": CARE,
    "POST /log/<int:line_id>/enrolled": CARE,
    "GET /coverage": CARE,
    "GET /series": ALL,
    "GET /series/<part>/<width>.<kind>": ALL,
    "GET /series/<part>/table.csv": ALL,
    "GET /series/people": CARE,
    "GET /series/save": {"surgeon", "data_manager"},
    "POST /series/save": {"surgeon", "data_manager"},
    "GET /series/methods": ALL,
    "GET /series/methods.txt": ALL,
    "GET /series/strobe-record.csv": ALL,
    "POST /series/silence/draw": {"surgeon", "data_manager"},
    "GET /series/silence/lots/<int:draw_id>.csv": {"surgeon", "data_manager"},
    "GET /series/saved": ALL,
    "GET /series/saved.csv": {"surgeon", "data_manager"},
    "GET /series/saved/<int:series_id>": ALL,
    "GET /series/saved/<int:series_id>/<int:number>": ALL,
    "POST /series/saved/<int:series_id>": {"surgeon", "data_manager"},
    "POST /series/saved/<int:series_id>/use": {"surgeon", "data_manager"},
    "GET /components": CARE,
    "POST /components/file": {"surgeon"},
    "GET /responses/<int:response_id>": CARE,
    "GET /flags/<int:flag_id>": CARE,
    "POST /flags/<int:flag_id>": CARE,
    "POST /flags/<int:flag_id>/note": CARE,
    "GET /held": ALL,
    "GET /held/<int:envelope_id>": ALL,
    "POST /held/<int:envelope_id>/again": ALL,
    "POST /held/<int:envelope_id>/settle": ALL,
    "GET /backups": {"data_manager"},
    "POST /backups/release/<int:restoration_id>": {"data_manager"},
    "GET /files": {"surgeon", "data_manager"},
    "POST /files": {"surgeon", "data_manager"},
    "POST /files/locks": {"surgeon", "data_manager"},
    "GET /files/locks/<int:lock_id>": {"surgeon", "data_manager"},
    "POST /files/locks/<int:lock_id>": {"surgeon", "data_manager"},
    "POST /files/locks/<int:lock_id>/changes": {"surgeon", "data_manager"},
    "GET /instruments": ALL,
    "GET /instruments/<spec>": ALL,
    "GET /instruments/<spec>/<language>": ALL,
    "GET /plans": ALL,
    "GET /reminders": ALL,
    "POST /reminders/check": {"data_manager"},
    "POST /reminders/install": {"data_manager"},
    "POST /reminders/choice": {"data_manager"},
    "POST /plans/check": {"data_manager"},
    "POST /plans/install": {"data_manager"},
    "POST /plans/default": {"data_manager"},
    "GET /texts": ALL,
    "POST /texts/check": {"data_manager"},
    "POST /texts/install": {"data_manager"},
    "POST /texts/decision": {"data_manager"},
    "POST /texts/decision/<int:decision_id>": {"data_manager"},
    "GET /texts/<spec>/<language>/<name>": ALL,
    "GET /notices": ALL,
    "GET /notices/<int:notice_id>": ALL,
    "GET /notices/<int:notice_id>.txt": ALL,
    "GET /notices/<kind>/new": {"data_manager"},
    "GET /notices/<kind>/more": {"data_manager"},
    "POST /notices/check": {"data_manager"},
    "POST /notices/install": {"data_manager"},
    "POST /notices/end": {"data_manager"},
    "GET /ready": {"data_manager"},
    "GET /settings": {"data_manager"},
    "POST /settings": {"data_manager"},
    "GET /settings/safety": {"data_manager"},
    "POST /settings/safety": {"data_manager"},
    "GET /settings/holidays": {"data_manager"},
    "POST /settings/holidays": {"data_manager"},
    "POST /settings/holidays/<int:holiday_id>/remove": {"data_manager"},
    "GET /settings/test-message": {"data_manager"},
    "POST /settings/test-message": {"data_manager"},
    "GET /audit": {"data_manager"},
    "GET /audit.csv": {"data_manager"},
    "GET /patients/<int:patient_id>/file": CARE,
    "POST /patients/<int:patient_id>/file": CARE,
    "GET /erasure": ALL,
}
NOT_THERE = 987654321  # an id that no row has: what a page does after the guard, without changing anything


def staff_routes(app: Flask) -> set[str]:
    found = set()
    for rule in app.url_map.iter_rules():
        if rule.endpoint.startswith("staff.") and rule.endpoint != "staff.static":
            found |= {f"{method} {rule.rule}" for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}}
    return found


@on_sqlite
def test_every_route_has_a_decision(staff: StaffCase) -> None:
    assert staff_routes(staff.app) == set(WHO_MAY)


def test_the_program_decides_as_the_table_does() -> None:
    decided = {f"{each.method} {each.path}": OPEN if each.roles is None else set(each.roles) for each in ROUTES}
    assert decided == WHO_MAY


def filled(route: str) -> tuple[str, str]:
    method, path = route.split(" ")
    path = re.sub(r"<int:\w+>", str(NOT_THERE), path)
    return method, path.replace("<kind>", "app").replace("<end>", "died").replace("<spec>", "sst@1").replace(
        "<language>", "es"
    ).replace("<name>", "licensed-none")


@on_sqlite
@pytest.mark.parametrize("role", ROLES)
def test_a_role_gets_its_pages_and_no_other(staff: StaffCase, role: str) -> None:
    member = staff.sign_in(role)
    # The two left out are tested with sign-in; they would end the session under test.
    asked = {route: who for route, who in WHO_MAY.items() if route not in ("POST /sign-out", "POST /account/sessions")}
    answers = {}
    for route in asked:
        method, path = filled(route)
        answers[route] = (member.get(path) if method == "GET" else member.post(path)).status_code
    assert {route for route, code in answers.items() if code == 403} == {
        r for r, who in asked.items() if role not in who
    }
    assert {route for route, code in answers.items() if code >= 500} == set()


@on_sqlite
def test_nobody_gets_nothing_but_the_sign_in_page(staff: StaffCase) -> None:
    client = staff.browser()
    assert WHO_MAY
    for route, who in WHO_MAY.items():
        method, path = filled(route)
        answer = client.get(path) if method == "GET" else client.post(path)
        if "nobody" in who:
            assert ("Sign in" if "/sign-in" in path else "/invitation") in answer.text
        elif method == "GET":
            assert answer.status_code == 302 and answer.location.startswith("/sign-in"), route
        else:
            assert answer.status_code == 401 and "Sign in" in answer.text, route


@on_sqlite
def test_a_page_without_roles_is_shut_for_everyone(staff: StaffCase) -> None:
    from server.staff.page.guard import allowed

    nurse = staff.sign_in("nurse")
    staff.app.view_functions["staff.today"] = allowed()(lambda: "seen")
    assert nurse.get("/today").status_code == 403


@on_sqlite
@pytest.mark.parametrize("role", ROLES)
def test_the_navigation_offers_only_what_the_role_may(staff: StaffCase, role: str) -> None:
    words = {
        "Today": "/today",
        "Patients": "/patients",
        "Series": "/series",
        "Files": "/files",
        "Instruments": "/instruments",
        "Texts": "/texts",
        "Accounts": "/accounts",
        "Settings": "/settings",
        "Readiness": "/ready",
        "Audit": "/audit",
    }
    page = staff.sign_in(role).get("/instruments").text
    offered = {word for word, path in words.items() if f'href="{path}"' in page}
    assert offered == {word for word, path in words.items() if role in WHO_MAY[f"GET {path}"]} != set()
