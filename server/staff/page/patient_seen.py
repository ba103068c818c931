"""Notes who looked at whose record, once the page was answered: no page waits for it, and none fails by it.

Where the power goes between page and note, the row of that hour is missing; the audit page says so. A list of many patients, such as
Today, is no look at a record.
"""

import logging
from datetime import datetime
from functools import partial

from flask import Response, request

from server.staff.page.request_context import request_context, runtime, signed_in_or_none
from server.store.engine import Store
from server.trust.views import note_view

log = logging.getLogger("yearmark.staff")
# What an address names, as the audit trail calls it.
NAMED = {
    "patient_id": "patient",
    "response_id": "response",
    "flag_id": "flag",
    "timepoint_id": "timepoint",
    "envelope_id": "envelope",
}


def note_who_saw(response: Response) -> Response:
    """After every staff page: of one that showed a patient, the note is written when the answer has gone out."""
    found = signed_in_or_none()
    named = [f"{NAMED[name]} {value}" for name, value in (request.view_args or {}).items() if name in NAMED]
    if found is None or request.method != "GET" or response.status_code != 200 or not named:
        return response
    note = partial(_note, runtime().store, named[0], found.id, request_context().now)
    response.call_on_close(note)
    return response


def _note(store: Store, thing: str, by_id: int, at: datetime) -> None:
    """The page is out; whatever happens here is told to the log alone, without the text of an exception, which can hold a name."""
    try:
        note_view(store, thing, by_id, at)
    except Exception as problem:
        log.error("who looked at a record could not be kept: %s", type(problem).__name__)
