"""Findings, events, what other sources know, and whether somebody is lost."""

from server.staff.events import constant_page, last_known_page, reported
from server.staff.events.record_pages import RecordPages
from server.staff.events.tables import EVENTS, FINDINGS, STATUSES
from server.staff.page.route import CARE, Route

VISIT = "/patients/<int:patient_id>/findings/<int:row_id>"


def _routes(word: str, folder: str, pages: RecordPages) -> tuple[Route, ...]:
    """A new row, the row, its correction, and what was entered in error."""
    place = f"/patients/<int:patient_id>/{folder}"
    return (
        Route("GET", f"{place}/new", f"{word}_new", pages.new, CARE),
        Route("POST", f"{place}/new", f"{word}_new_post", pages.new_post, CARE),
        Route("GET", f"{place}/<int:row_id>", word, pages.row, CARE),
        Route("POST", f"{place}/<int:row_id>", f"{word}_correct", pages.correct_post, CARE),
        Route("POST", f"{place}/<int:row_id>/in-error", f"{word}_take_back", pages.take_back_post, CARE),
    )


ROUTES = (
    *_routes("event", "events", RecordPages(EVENTS)),
    *_routes("finding", "findings", RecordPages(FINDINGS)),
    *_routes("status", "sources", RecordPages(STATUSES)),
    Route("GET", f"{VISIT}/constant", "constant", constant_page.constant_page, CARE),
    Route("POST", f"{VISIT}/constant", "constant_post", constant_page.constant_post, CARE),
    Route("POST", f"{VISIT}/constant/in-error", "constant_in_error", constant_page.constant_in_error, CARE),
    Route("GET", "/patients/<int:patient_id>/last-known", "last_known", last_known_page.last_known_page, CARE),
    Route("POST", "/patients/<int:patient_id>/lost", "lost", last_known_page.lost_post, CARE),
    Route(
        "POST",
        "/patients/<int:patient_id>/events/<int:row_id>/recorded-as",
        "event_recorded_as",
        reported.event_recorded_as,
        CARE,
    ),
    Route("POST", "/flags/<int:flag_id>/event", "flag_event", reported.flag_event, CARE),
    Route("POST", "/responses/<int:response_id>/event", "answer_event", reported.answer_event, CARE),
)
