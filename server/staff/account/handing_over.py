"""The page with an invitation's link, shown once to whoever made it. What stands after "#" a browser sends to no server and no log."""

from flask import Response, make_response, render_template, url_for

from server.models import StaffAccount
from server.staff.account.invitations import invited_until
from server.staff.page.database import reading
from server.staff.page.request_context import request_context


def hand_over(account_id: int, secret: str) -> Response:
    here = request_context()
    with reading() as session:
        account = session.get_one(StaffAccount, account_id)
        ends_at = invited_until(session, account_id, real_now=here.real_now)
        return make_response(
            render_template(
                "staff/account/invited.html",
                account=account,
                link=f"{here.base_url.rstrip('/')}{url_for('staff.invitation')}#{secret}",
                ends_at=here.shown(ends_at) if ends_at else None,
            )
        )
