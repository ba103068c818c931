"""Whether people have done what only people can: signed in with a second factor, shut accounts of who left, decided on the texts."""

from datetime import timedelta

from sqlalchemy import or_, select

from server.installation.finding import Finding, Look
from server.models import StaffAccount, StaffAuthenticatorApp, StaffPasskey
from server.texts.decision import descriptive_in_use
from server.trust.last_seen import last_seen
from server.words.phrase import counted_phrase, phrase

UNSEEN = timedelta(days=365)


def manager_has_second_factor(look: Look) -> Finding:
    """One at least: whoever has only a password gets no further than setting the second step up."""
    managers = select(StaffAccount.id).where(StaffAccount.role == "data_manager", StaffAccount.disabled_at.is_(None))
    secured = or_(
        StaffAccount.id.in_(select(StaffPasskey.account_id)),
        StaffAccount.id.in_(select(StaffAuthenticatorApp.account_id)),
    )
    if look.session.scalar(managers.where(secured).limit(1)) is not None:
        return Finding("second_factor", phrase("A data manager signs in with a second step."))
    if look.session.scalar(managers.limit(1)) is None:
        what = phrase("There is no account of a data manager.")
        return Finding(
            "second_factor",
            what,
            phrase(
                "On the server: %(command)s --role data_manager, with --name and --email.",
                command=look.command("account"),
            ),
        )
    return Finding(
        "second_factor",
        phrase("No data manager has set up a second step."),
        phrase("Sign in as data manager: after the password the page asks for it. Print the recovery codes."),
    )


def accounts_are_used(look: Look) -> Finding:
    """Who left and kept an account can still come in."""
    open_ones = select(StaffAccount.id, StaffAccount.made_at).where(StaffAccount.disabled_at.is_(None))
    made = {row.id: row.made_at for row in look.session.execute(open_ones)}
    seen = last_seen(look.session, made)
    away = [each for each, made_at in made.items() if seen.get(each, made_at) < look.now - UNSEEN]
    if not away:
        return Finding("accounts", phrase("Everybody who may sign in was here within a year."))
    return Finding(
        "accounts",
        counted_phrase(
            "%(count)s account may sign in and was not used for a year.",
            "%(count)s accounts may sign in and were not used for a year.",
            len(away),
        ),
        phrase(
            "Open Accounts, and shut those of people who no longer work with the records. They can be opened again."
        ),
    )


def texts_are_decided(look: Look) -> Finding:
    """Until then a form with such a text is held back, and nobody notices but Today."""
    open_ones = [each for each in descriptive_in_use(look.session, look.runtime.library) if not each.decided]
    if look.clinic.mode == "live" and open_ones:
        return Finding(
            "texts",
            counted_phrase(
                "%(count)s descriptive text waits for a decision, and forms with it are held back.",
                "%(count)s descriptive texts wait for a decision, and forms with them are held back.",
                len(open_ones),
            ),
            phrase(
                "Open Texts: install the owners' licensed texts, or record the decision to ask in descriptive ones."
            ),
        )
    return Finding("texts", phrase("Every text that is asked is licensed or decided on."))
