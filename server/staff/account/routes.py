"""Signing in, one's own account, and the accounts of others."""

from server.models.staff import IN, SECOND_STEP, SET_UP, STAGES
from server.staff.account import (
    accounts_page,
    invitation_page,
    one_account,
    own_account,
    second_factor_pages,
    second_step,
    sign_in,
)
from server.staff.page.route import ALL, MANAGER, Route

FACTOR = "/account/second-factor"
ONE = "/accounts/<int:account_id>"
HALFWAY = (SECOND_STEP,)
SETTING_UP = (SET_UP, IN)

ROUTES = (
    Route("GET", "/sign-in", "sign_in", sign_in.sign_in_page, None),
    Route("POST", "/sign-in", "sign_in_post", sign_in.sign_in, None),
    Route("GET", "/sign-in/second-step", "second_step", second_step.page, ALL, HALFWAY),
    Route("POST", "/sign-in/second-step", "second_step_post", second_step.second_step, ALL, HALFWAY),
    Route("POST", "/sign-out", "sign_out", sign_in.sign_out, ALL, STAGES),
    Route("GET", FACTOR, "second_factor", second_factor_pages.page, ALL, SETTING_UP),
    Route("POST", f"{FACTOR}/passkey", "new_passkey", second_factor_pages.new_passkey, ALL, SETTING_UP),
    Route("POST", f"{FACTOR}/passkey/made", "passkey_made", second_factor_pages.passkey_made, ALL, SETTING_UP),
    Route("POST", f"{FACTOR}/app", "new_app", second_factor_pages.new_app, ALL, SETTING_UP),
    Route("POST", f"{FACTOR}/app/confirmed", "app_confirmed", second_factor_pages.app_confirmed, ALL, SETTING_UP),
    Route("POST", f"{FACTOR}/recovery-codes", "recovery_codes", second_factor_pages.new_codes, ALL),
    Route("POST", f"{FACTOR}/recovery-codes/arrived", "codes_arrived", second_factor_pages.codes_arrived, ALL),
    Route("POST", f"{FACTOR}/<kind>/<int:factor_id>/remove", "remove_factor", second_factor_pages.remove, ALL),
    Route("POST", f"{FACTOR}/<kind>/<int:factor_id>/name", "rename_factor", second_factor_pages.rename, ALL),
    Route("GET", "/account", "account", own_account.account_page, ALL),
    Route("POST", "/account/password", "change_password", own_account.change_password, ALL),
    Route("POST", "/account/language", "change_language", own_account.change_language, ALL),
    Route("POST", "/account/sessions", "sign_out_elsewhere", own_account.sign_out_elsewhere, ALL),
    Route("GET", "/accounts", "accounts", accounts_page.accounts_page, MANAGER),
    Route("GET", "/accounts/new", "new_account", accounts_page.new_account_page, MANAGER),
    Route("POST", "/accounts/new", "make_account", accounts_page.make_account, MANAGER),
    Route("GET", ONE, "one_account", one_account.one_account, MANAGER),
    Route("POST", ONE, "change_account", one_account.change_account, MANAGER),
    Route("POST", f"{ONE}/invitation", "invite_again", one_account.invite_again, MANAGER),
    Route("POST", f"{ONE}/shut", "shut_account", one_account.shut, MANAGER),
    Route("POST", f"{ONE}/open", "open_account", one_account.open_again, MANAGER),
    Route("POST", f"{ONE}/unlock", "unlock_account", one_account.unlock, MANAGER),
    Route("POST", f"{ONE}/sessions", "end_sessions", one_account.end_sessions, MANAGER),
    Route("POST", f"{ONE}/sessions/<int:session_id>", "end_session", one_account.end_session, MANAGER),
    Route("POST", f"{ONE}/second-factor", "reset_factor", one_account.reset_second_factor, MANAGER),
    Route("GET", "/invitation", "invitation", invitation_page.invitation_page, None),
    Route("POST", "/invitation", "choose_password", invitation_page.choose_password, None),
)
