"""The front door of a demo: every role one click away, a patient's phone in its frame, the mailbox, and a week that passes.

Of a live clinic none of this exists: the application does not register it, and it answers 404 if it were.
"""

from pathlib import Path

from flask import Blueprint, Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response as AnyResponse

from server.demo.cast import fresh_person
from server.demo.folder import read_demo_file
from server.demo.listing import Listed, list_links
from server.demo.mail import Letter, letters, names_by_token
from server.demo.said import STATE, STATUS, day_words, timepoint_words
from server.demo.week import Week
from server.models import Clinic, StaffAccount
from server.models.clock import clinic_day, clinic_now
from server.models.staff import ROLES
from server.runtime import Runtime
from server.staff.guard import SESSION, same_origin, set_cookie
from server.staff.sessions import start_session
from server.staff.sign_in import HOME
from server.trust.audit import audit

FOLDER = Path(__file__).parent
SHOWN_AT_ONCE = 9


def make_front_door(runtime: Runtime) -> Blueprint:
    """`/` and `/demo/…`."""
    door = Blueprint(
        "door", __name__, template_folder="templates", static_folder="static", static_url_path="/demo/look"
    )
    week = Week(runtime)

    @door.before_request
    def only_in_a_demo() -> None:
        with runtime.store.reading() as session:
            if session.scalar(select(Clinic.mode)) != "demo":
                abort(404)
        if request.method == "POST" and not same_origin():
            abort(403, "forged")

    @door.app_context_processor
    def words() -> dict[str, object]:
        return {"day_words": day_words, "timepoint_words": timepoint_words, "form_status": STATUS, "link_states": STATE}

    @door.get("/")
    def front() -> str:
        with runtime.store.reading() as session:
            clinic = session.get_one(Clinic, 1)
            today = clinic_day(clinic, clinic_now(clinic, runtime.real_clock()))
            listed = list_links(session, today)
            fresh = fresh_person(session, today)
        due = [each for each in listed if each.state == "due" and any(form.invited for form in each.forms)]
        return render_template(
            "demo/front.html",
            clinic=clinic,
            today=today,
            chosen=_chosen(listed, request.args.get("patient")),
            shown=due[:SHOWN_AT_ONCE],
            more=[each for each in listed if each not in due[:SHOWN_AT_ONCE]],
            accounts=read_demo_file(runtime.settings.data).get("accounts", []),
            letters=letters(runtime.settings)[:3],
            letter_count=len(letters(runtime.settings)),
            week=week.state(),
            fresh=fresh,
        )

    @door.post("/demo/as/<role>")
    def sign_in_as(role: str) -> AnyResponse:
        if role not in ROLES:
            abort(404)
        with runtime.store.writing() as session:
            account = session.scalars(select(StaffAccount).where(StaffAccount.role == role).order_by(StaffAccount.id)).first()
            if account is None:
                abort(404)
            clinic = session.get_one(Clinic, 1)
            real_now = runtime.real_clock()
            audit(session, "sign-in:by-the-front-door", f"account {account.id}", now=clinic_now(clinic, real_now), by_id=account.id)
            secret = start_session(session, account, now=real_now)
        response: Response = make_response(redirect(HOME[role]))
        set_cookie(response, SESSION, secret)
        return response

    @door.post("/demo/week")
    def a_week_passes() -> AnyResponse:
        week.begin()
        return redirect(url_for("door.week_page"))

    @door.get("/demo/week")
    def week_page() -> str | AnyResponse:
        state = week.state()
        return render_template("demo/week.html", week=state) if state.running else redirect(url_for("door.front", _anchor="week"))

    @door.get("/demo/mailbox")
    def mailbox() -> str:
        return render_template("demo/mailbox.html", letters=letters(runtime.settings))

    @door.get("/demo/mailbox/<name>")
    def letter(name: str) -> str:
        found: list[Letter] = [each for each in letters(runtime.settings) if each.name == name]
        if not found:
            abort(404)
        with runtime.store.reading() as session:
            known = names_by_token(session)
        return render_template("demo/letter.html", letter=found[0], known=known)

    return door


def _chosen(listed: list[Listed], study_number: str | None) -> Listed | None:
    """The patient in the phone's frame: the one asked for, else the first with something due."""
    asked_for = [each for each in listed if each.study_number == study_number]
    return next(iter([*asked_for, *listed]), None)
