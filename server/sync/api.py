"""The two routes a phone talks to. No private key is reachable from here, and no due sheet can be read."""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any

from flask import Request, Response, jsonify, request
from flask.views import MethodView
from flask_smorest import Blueprint, abort
from marshmallow import ValidationError
from sqlalchemy.exc import DBAPIError
from webargs.flaskparser import FlaskParser

from scoring.strict_json import JsonProblem, load_strict_json
from server.store.engine import Store
from server.sync.due import fetch_due, of_restore, wire_instant
from server.sync.receive import MOST_A_DAY, Posted, QuotaReached, Receipt, receive
from server.sync.schemas import DueAnswer, DueRequest, EnvelopesAnswer, EnvelopesRequest, HttpError, Refusal

log = logging.getLogger(__name__)
Now = Callable[[], datetime]
LONGEST_DUE = 4096  # characters of a lookup and a proof, which take 115, and room for white space
# Quotes, colons, commas and brackets of a whole post: 20 envelopes have 265. Reading more would keep other phones waiting.
MOST_MARKS = 1000
NOT_THE_PROTOCOL = "This is not the JSON that PROTOCOL.md and /api/openapi.json describe; nothing was stored."


def _check() -> Response:
    """The one answer before a right proof. A whole response, since the schema of the route is that of the 200."""
    answer = jsonify(code="check")
    answer.status_code = 403
    return answer


def _later(code: str, *, seconds: int) -> Response:
    answer = jsonify(code=code)
    answer.status_code = 503
    answer.headers["Retry-After"] = str(seconds)
    return answer


class StrictParser(FlaskParser):
    """JSON that names a member twice, holds NaN, or is nested or divided beyond reason is refused like any other that is not JSON.

    Every refusal is the same short line: to list what is wrong with a large body takes longer than the body is worth.
    """

    def _raw_load_json(self, req: Request) -> Any:
        body = req.get_data(cache=True)
        if sum(body.count(mark) for mark in b'":,[{') > MOST_MARKS:
            raise ValidationError("more members than this protocol has")
        try:
            return load_strict_json(body)
        except JsonProblem as problem:
            raise ValidationError(str(problem)) from problem

    def handle_error(self, *_problem: Any, **_more: Any) -> Any:
        abort(422, message=NOT_THE_PROTOCOL)


def make_sync(store: Store, now: Now, stored: Callable[[], None] | None = None) -> Blueprint:
    """The phone-facing part, from a store and a clock alone. `stored` is called after envelopes were committed."""
    phones = Blueprint("phones", __name__, url_prefix="/api", description="What a phone talks to; see PROTOCOL.md.")

    phones.ARGUMENTS_PARSER = StrictParser()

    @phones.errorhandler(DBAPIError)
    def unavailable(problem: DBAPIError) -> Response:
        """Disk full, database gone: nothing was stored, and the phone keeps what it has."""
        log.error("phones: the database did not take it (%s); nothing was stored", type(problem.orig).__name__)
        return _later("unavailable", seconds=300)

    @phones.errorhandler(QuotaReached)
    def enough(_problem: QuotaReached) -> Response:
        """No person sends so much; what a phone holds it keeps, and the day is over by itself."""
        log.warning(
            "phones: a link has sent more than %d envelopes in a day; nothing more of it was stored", MOST_A_DAY
        )
        return _later("quota", seconds=3600)

    @phones.before_request
    def short_question() -> None:
        """Read no further than a right one can reach; a longer one is answered by 413."""
        if request.endpoint == "phones.Due":
            request.max_content_length = LONGEST_DUE

    @phones.route("/due")
    class Due(MethodView):
        @phones.arguments(DueRequest)
        @phones.response(200, DueAnswer)
        @phones.alt_response(403, schema=Refusal, description="the one answer before a right proof")
        @phones.alt_response(405, schema=HttpError, description="another method than POST")
        @phones.alt_response(413, schema=HttpError, description=f"more than {LONGEST_DUE} bytes")
        @phones.alt_response(503, schema=Refusal, description="try again after Retry-After seconds")
        def post(self, asked: dict[str, str]) -> Any:
            """Opens what a link has due."""
            return fetch_due(store, lookup=asked["lookup"], proof=asked["proof"], now=now()) or _check()

    @phones.route("/envelopes")
    class Envelopes(MethodView):
        @phones.arguments(EnvelopesRequest)
        @phones.response(200, EnvelopesAnswer)
        @phones.alt_response(405, schema=HttpError, description="another method than POST")
        @phones.alt_response(413, schema=HttpError, description="more than 8 MiB; send fewer at once")
        @phones.alt_response(503, schema=Refusal, description="unavailable or quota: nothing stored; see Retry-After")
        def post(self, sent: dict[str, list[dict[str, str]]]) -> Any:
            """Takes sealed forms in, unread; one receipt each."""
            posted = [Posted(each["envelope"], each["proof"]) for each in sent["envelopes"]]
            receipts = receive(store, posted, now=now())
            if stored is not None and any(receipt.status == "stored" for receipt in receipts):
                stored()
            return {"receipts": [_written(receipt) for receipt in receipts]}

    return phones


def _written(receipt: Receipt) -> dict[str, Any]:
    return {
        "envelope_id": receipt.envelope_id,
        "status": receipt.status,
        "reason": receipt.reason,
        "sha256": receipt.sha256,
        "received_at": wire_instant(receipt.received_at),
        **(of_restore(receipt.restored_at) if receipt.hears_of_restores else {}),
    }
