"""For data managers: all accounts, and making one. Its person chooses the password, by an invitation."""

from flask import Response, make_response, render_template, request

from server.models.staff import ROLES
from server.staff.account.account_list import account_rows, count_accounts
from server.staff.account.accounts import AccountProblem, create_account
from server.staff.account.entering import BUSY
from server.staff.account.handing_over import hand_over
from server.staff.account.invitations import invite
from server.staff.account.passwords import Busy
from server.staff.account.present_password import present_password_problem
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import locked_session
from server.words import labels

PAGE = 100
Errors = dict[str, list[str]]


def accounts_page() -> str:
    """One page of it, those that are shut last."""
    here, offset = request_context(), offset_in(request.args.get("from", ""))
    with reading() as session:
        total = count_accounts(session)
        rows = account_rows(session, real_now=here.real_now, offset=offset, limit=PAGE)
    return render_template("staff/account/accounts.html", rows=rows, at=At(offset, PAGE, total), shown=here.shown)


def new_account_page() -> str:
    return _form({})


def _form(errors: Errors) -> str:
    return render_template(
        "staff/account/new_account.html",
        errors=errors,
        values={name: request.form.get(name, "") for name in ("name", "email", "role")},
        roles=[(role, labels.ROLE[role]) for role in ROLES],
    )


def make_account() -> Response:
    """Makes it without a password and shows the invitation, this once."""
    me, here, typed = signed_in(), request_context(), request.form
    try:
        problem = present_password_problem(typed.get("present_password", ""))
    except Busy:
        return make_response(_form({"present_password": [words.say(BUSY)]}), 503, {"Retry-After": "2"})
    if problem:
        return make_response(_form({"present_password": [problem]}), 422)
    try:
        with writing() as session:
            locked_session(session, me)
            account = create_account(
                session, typed.get("email", ""), typed.get("name", ""), typed.get("role", ""), None, here.now, me.id
            )
            secret = invite(session, account, now=here.now, real_now=here.real_now, by_id=me.id)
            account_id = account.id
    except AccountProblem as refused:
        return make_response(_form({refused.field: [words.say(refused.sentence)]}), 422)
    return hand_over(account_id, secret)
