"""What is not ready for patients, as `yearmark check` lists it, each with the page on which it is mended."""

from flask import render_template

from server.installation.readiness import findings
from server.staff.page.request_context import runtime

# By the name of the finding. What has no page here is done on the server.
PAGES = {
    "address": "staff.settings",
    "sender": "staff.settings",
    "zone": "staff.settings",
    "certificate": "staff.settings",
    "second_factor": "staff.account",
    "accounts": "staff.accounts",
    "texts": "staff.texts",
    "safety_net": "staff.safety",
    "data_copied": "staff.backups",
    "keys_copied": "staff.backups",
    "restore_proved": "staff.backups",
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
