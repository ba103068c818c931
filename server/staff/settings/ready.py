"""What is not ready for patients, as `yearmark check` lists it, each with the page on which it is mended."""

from flask import render_template

from server.installation.readiness import findings
from server.staff.page.request_context import runtime
from server.words.phrase import phrase

SETTINGS = "staff.settings", phrase("Settings")
NOTICES = "staff.notices", phrase("Privacy notice and consent texts")
BACKUPS = "staff.backups", phrase("Backups")
# By the name of the finding. What has no page here is done on the server.
PAGES = {
    "address": SETTINGS,
    "numbers": SETTINGS,
    "sender": SETTINGS,
    "zone": SETTINGS,
    "second_factor": ("staff.account", phrase("your account")),
    "accounts": ("staff.accounts", phrase("Accounts")),
    "texts": ("staff.texts", phrase("Texts")),
    "privacy_notice": NOTICES,
    "consent_texts": NOTICES,
    "safety_net": ("staff.safety", phrase("Safety answers that wait")),
    "released": BACKUPS,
    "data_copied": BACKUPS,
    "keys_copied": BACKUPS,
    "restore_proved": BACKUPS,
}


def ready() -> str:
    """The list, open points first. It asks the mail server and the web server in front, so it may take some seconds."""
    found = findings(runtime(), now=runtime().real_clock())
    return render_template(
        "staff/settings/ready.html",
        left=[each for each in found if not each.ready],
        done=[each for each in found if each.ready],
        pages=PAGES,
    )
