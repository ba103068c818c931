"""The page with an invitation's link, shown once to whoever made it. What stands after "#" a browser sends to no server and no log."""

import logging

from flask import Response, make_response, render_template, request, url_for

from server.models import StaffAccount
from server.queries.clock import the_clinic
from server.queries.restored import waits_for_release
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.staff_mail import new_message_id, send_to_staff
from server.staff.account.invitations import invited_until
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import RequestContext, request_context, runtime
from server.words.language import Words
from server.words.phrase import Phrase, phrase

log = logging.getLogger(__name__)

NOT_SENT = phrase(
    "It could not be sent by e-mail: the mail server did not take it. The link is good; hand it over yourself."
)
NOT_RELEASED = phrase(
    "It was not sent by e-mail: this clinic was restored from a copy, and nothing is sent before a data manager releases it. The link "
    "is good; hand it over yourself."
)


def hand_over(account_id: int, secret: str) -> Response:
    """Outside of any transaction, since it may send mail."""
    here = request_context()
    link = f"{here.base_url.rstrip('/')}{url_for('staff.invitation')}#{secret}"
    with reading() as session:
        account = session.get_one(StaffAccount, account_id)
        ends_at = invited_until(session, account_id, real_now=here.real_now)
        sender, held = the_clinic(session).mail_from, waits_for_release(session) is not None
    said = ""
    if request.form.get("by_mail"):
        said = words.say(NOT_RELEASED if held else _send(account, link, sender, here))
    page = render_template(
        "staff/account/invited.html",
        account=account,
        link=link,
        mailed=said,
        ends_at=here.shown(ends_at) if ends_at else None,
    )
    return make_response(page)


def _send(account: StaffAccount, link: str, sender: str | None, here: RequestContext) -> Phrase:
    speech = Words("staff", account.language or here.languages[0])
    text = phrase(
        "%(name)s,\n\nyou are invited to work with the follow-up records of %(clinic)s. Choose your password here; the link is good "
        "once, for three days:\n\n%(link)s\n\nIf you did not expect this, do not open it, and tell the clinic.\n",
        name=account.name,
        clinic=here.clinic_name,
        link=link,
    )
    mail = PlainMail(
        message_id=new_message_id(here.base_url),
        to=account.email,
        language=speech.language,
        subject=speech.say(phrase("Your account at %(clinic)s", clinic=here.clinic_name)),
        text=speech.say(text),
        written_at=here.now,
    )
    try:
        send_to_staff(runtime().settings, sender, mail)
    except TransportProblem as problem:
        log.warning("invitation of account %s was not taken by the mail server: %s", account.id, type(problem).__name__)
        return NOT_SENT
    return phrase("It was sent to %(address)s too.", address=account.email)
