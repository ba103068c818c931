"""What every page knows about this request: the runtime, the clinic, its day, and who is signed in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import cast

from flask import current_app, g, request
from sqlalchemy.orm import Session

from server.fields.by_language import in_language
from server.installation.runtime import Runtime
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.staff.page.sessions import SignedIn
from server.words.catalogue import languages
from server.words.language import Words


@dataclass(frozen=True)
class RequestContext:
    """The clinic as pages need it, read once for a request. `now` is the clinic's instant, `real_now` the machine's."""

    clinic_name: str
    demo: bool
    base_url: str
    languages: tuple[str, ...]
    time_zone: str
    default_plan: str
    phone: str
    phone_hours: Mapping[str, str]
    closed_phone: str
    emergency_number: str
    surgeons: tuple[str, ...]
    now: datetime
    today: date
    real_now: datetime

    @property
    def tomorrow(self) -> date:
        return self.today + timedelta(days=1)

    def shown(self, at: datetime) -> datetime:
        """An instant of the machine's clock by the clinic's, which a demo may have set forward."""
        return at + (self.now - self.real_now)

    def hours_in(self, language: str) -> str:
        return in_language(self.phone_hours, language, ",".join(self.languages))


def runtime() -> Runtime:
    return cast(Runtime, current_app.extensions["yearmark"])


def read_request_context(session: Session, real_now: datetime) -> RequestContext:
    """What every page needs to know of the clinic, at the clinic's own instant; `real_now` is the machine's."""
    clinic = the_clinic(session)
    now = clinic_now(clinic, real_now)
    return RequestContext(
        clinic_name=clinic.name,
        demo=clinic.mode == "demo",
        base_url=clinic.base_url,
        languages=tuple(clinic.languages.split(",")),
        time_zone=clinic.time_zone,
        default_plan=clinic.default_plan,
        phone=clinic.phone,
        phone_hours=clinic.phone_hours,
        closed_phone=clinic.closed_phone,
        emergency_number=clinic.emergency_number,
        surgeons=tuple((clinic.surgeons or "").splitlines()),
        now=now,
        today=clinic_day(clinic, now),
        real_now=real_now,
    )


def request_context() -> RequestContext:
    return cast(RequestContext, g.request_context)


def signed_in() -> SignedIn:
    """Only behind `allowed`, which has made sure that there is one."""
    return cast(SignedIn, g.signed_in)


def signed_in_or_none() -> SignedIn | None:
    return cast(SignedIn | None, g.get("signed_in"))


def words_for(who: SignedIn | None, clinic: RequestContext) -> Words:
    """In the language of the account, or else the clinic's first; English where that has no catalogue for staff.

    Before anybody has signed in it is the one that was asked for on the page, or else that of the browser, where there is a catalogue.
    """
    if who is not None:
        return Words("staff", who.language or clinic.languages[0])
    of_browser = request.accept_languages.best_match(languages("staff"))
    return Words("staff", asked_language() or of_browser or clinic.languages[0])


def asked_language() -> str | None:
    """What somebody who has not signed in chose by a link: it travels in the address alone, and counts for no account."""
    found = request.args.get("language")
    return found if found in languages("staff") else None
