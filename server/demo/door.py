"""The front door of a demo: every role one click away, a patient's phone in its frame, the mailbox, and a week that passes.

Of a live clinic none of this exists: the application does not register it, and it would answer 404.
"""

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response as AnyResponse

from server.demo.cast import fresh_person
from server.demo.door_words import STATE, STATUS, day_words, span_words, timepoint_words
from server.demo.folder import read_demo_file
from server.demo.listing import Listed, list_links
from server.demo.mail import Letter, letters, names_by_token
from server.demo.week import Week
from server.installation.runtime import Runtime
from server.models import Clinic, StaffAccount
from server.models.staff import ROLES
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.staff.account.entering import HOME
from server.staff.page.guard import SESSION, same_origin, set_cookie
from server.staff.page.sessions import start_session
from server.trust.audit import audit

SHOWN_AT_ONCE = 9
WORDS = {
    "day_words": day_words,
    "span_words": span_words,
    "timepoint_words": timepoint_words,
    "form_status": STATUS,
    "link_states": STATE,
}


def make_front_door(runtime: Runtime) -> Blueprint:
    """`/` and `/demo/…`."""
    door = Blueprint(
        "door", __name__, template_folder="templates", static_folder="static", static_url_path="/demo/look"
    )
    rooms = _Rooms(runtime)
    door.before_request(rooms.only_in_a_demo)
    door.app_context_processor(lambda: WORDS)
    door.add_url_rule("/", "front", rooms.front)
    door.add_url_rule("/demo/as/<role>", "sign_in_as", rooms.sign_in_as, methods=["POST"])
    door.add_url_rule("/demo/week", "a_week_passes", rooms.a_week_passes, methods=["POST"])
    door.add_url_rule("/demo/week", "week_page", rooms.week_page)
    door.add_url_rule("/demo/mailbox", "mailbox", rooms.mailbox)
    door.add_url_rule("/demo/mailbox/<name>", "letter", rooms.letter)
    return door


class _Rooms:
    """The views, over one runtime."""

    def __init__(self, runtime: Runtime) -> None:
        self.runtime = runtime
        self.week = Week(runtime)

    def only_in_a_demo(self) -> None:
        with self.runtime.store.reading() as session:
            if session.scalar(select(Clinic.mode)) != "demo":
                abort(404)
        if request.method == "POST" and not same_origin():
            abort(403, "forged")

    def front(self) -> str:
        post = self._letters()
        return render_template(
            "demo/front.html",
            accounts=read_demo_file(self.runtime.settings.data).get("accounts", []),
            letters=post[:2],
            letter_count=len(post),
            week=self.week.state(),
            **self._people(request.args.get("patient")),
        )

    def _people(self, asked_for: str | None) -> Mapping[str, Any]:
        with self.runtime.store.reading() as session:
            clinic = the_clinic(session)
            today = clinic_day(clinic, clinic_now(clinic, self.runtime.real_clock()))
            listed = list_links(session, today)
            fresh = fresh_person(session, today)
        shown = _one_of_each(listed)
        more = [each for each in listed if each not in shown]
        chosen = [each for each in listed if each.study_number == asked_for]
        return {
            "clinic": clinic,
            "today": today,
            "fresh": fresh,
            "shown": shown,
            "more": more,
            "chosen": next(iter([*chosen, *shown, *listed]), None),
        }

    def sign_in_as(self, role: str) -> AnyResponse:
        """Signs a visitor in as one of the demo's staff, and leads to the page that role begins with."""
        runtime = self.runtime
        if role not in ROLES:
            abort(404)
        with runtime.store.writing() as session:
            wanted = select(StaffAccount).where(StaffAccount.role == role, StaffAccount.disabled_at.is_(None))
            account = session.scalars(wanted.order_by(StaffAccount.id)).first()
            if account is None:
                abort(404)
            real_now = runtime.real_clock()
            now = clinic_now(the_clinic(session), real_now)
            audit(session, "sign-in:by-the-front-door", f"account {account.id}", now=now, by_id=account.id)
            secret = start_session(session, account, now=real_now)
        response: Response = make_response(redirect(HOME[role]))
        set_cookie(response, SESSION, secret)
        return response

    def a_week_passes(self) -> AnyResponse:
        self.week.begin()
        return redirect(url_for("door.week_page"))

    def week_page(self) -> str | AnyResponse:
        state = self.week.state()
        if not state.running:
            return redirect(url_for("door.front", _anchor="week"))
        return render_template("demo/week.html", week=state)

    def _letters(self) -> list[Letter]:
        with self.runtime.store.reading() as session:
            zone = ZoneInfo(the_clinic(session).time_zone)
        return letters(self.runtime.settings, zone)

    def mailbox(self) -> str:
        return render_template("demo/mailbox.html", letters=self._letters())

    def letter(self, name: str) -> str:
        found = [each for each in self._letters() if each.name == name]
        if not found:
            abort(404)
        with self.runtime.store.reading() as session:
            known = names_by_token(session)
        return render_template("demo/letter.html", letter=found[0], known=known)


def _one_of_each(listed: list[Listed]) -> list[Listed]:
    """Those with something due who were invited, each kind of form first: a short list that shows what there is."""
    due = [each for each in listed if each.state == "due" and any(form.invited for form in each.forms)]
    firsts: dict[tuple[str, ...], Listed] = {}
    for each in due:
        firsts.setdefault(tuple(form.code for form in each.forms), each)
    kinds = list(firsts.values())
    return [*kinds, *(each for each in due if each not in kinds)][:SHOWN_AT_ONCE]
