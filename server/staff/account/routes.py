"""Signing in and one's own account."""

from server.staff.account import own_account, sign_in
from server.staff.page.route import ALL, MANAGER, Route

ROUTES = (
    Route("GET", "/sign-in", "sign_in", sign_in.sign_in_page, None),
    Route("POST", "/sign-in", "sign_in_post", sign_in.sign_in, None),
    Route("POST", "/sign-out", "sign_out", sign_in.sign_out, ALL),
    Route("GET", "/account", "account", own_account.account_page, ALL),
    Route("POST", "/account/password", "change_password", own_account.change_password, ALL),
    Route("POST", "/account/language", "change_language", own_account.change_language, ALL),
    Route("POST", "/account/sessions", "sign_out_elsewhere", own_account.sign_out_elsewhere, ALL),
    Route("POST", "/accounts/<int:account_id>/shut", "shut_account", own_account.shut, MANAGER),
)
