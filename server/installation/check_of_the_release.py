"""Whether a clinic that came out of a copy was released: until then it answers and looks well, and sends nothing."""

from server.installation.finding import Finding, Look
from server.queries.restored import waits_for_release
from server.words.phrase import phrase


def clinic_is_released(look: Look) -> Finding:
    waiting = waits_for_release(look.session)
    if waiting is None:
        return Finding("released", phrase("No restored clinic waits for its release: messages may leave."))
    what = phrase("The clinic was restored on %(on)s, and nothing is sent from it.", on=waiting.restored_at.date())
    do = phrase("As data manager: read on the page Backups what may be missing, and release the clinic.")
    return Finding("released", what, do)
