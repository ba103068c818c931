"""The wire, as marshmallow schemas: they check what comes in and describe it in /api/openapi.json."""

from marshmallow import Schema, fields, validate

from server.crypto.envelope import LONGEST
from server.sync.receive import MOST_IN_ONE_POST

SECRET = [validate.Length(equal=43), validate.Regexp(r"^[A-Za-z0-9_-]{43}$")]  # `$` alone lets a line end through

RESTORED_AT = (
    "when the clinic last went back to a copy of its records, null if it never did; missing where this is not told"
)


class DueRequest(Schema):
    lookup = fields.String(required=True, validate=SECRET, metadata={"description": "b64u of the 32-byte lookup"})
    proof = fields.String(required=True, validate=SECRET, metadata={"description": "b64u of the 32-byte proof"})


class SheetSchema(Schema):
    revision = fields.Integer(required=True)
    nonce = fields.String(required=True)
    ciphertext = fields.String(required=True)


class DueAnswer(Schema):
    state = fields.String(required=True, validate=validate.OneOf(("due", "nothing_due", "ended", "replaced")))
    sheet = fields.Nested(SheetSchema, required=True, allow_none=True)
    server_time = fields.String(required=True)
    restored_at = fields.String(allow_none=True, metadata={"description": RESTORED_AT})


class Refusal(Schema):
    code = fields.String(
        required=True,
        metadata={"description": "check, the one answer before a right proof; with 503 unavailable or quota"},
    )


class HttpError(Schema):
    """Any other answer than 200 and 403. Nothing of what came in is repeated."""

    code = fields.Integer(metadata={"description": "the HTTP status once more"})
    status = fields.String(metadata={"description": "its name"})
    message = fields.String(metadata={"description": "one sentence, with 422"})


class PostedSchema(Schema):
    envelope = fields.String(
        required=True,
        # Longer ones are refused one by one with `too_large`, not the whole post.
        metadata={"description": f"envelope text, at most {LONGEST} characters"},
    )
    proof = fields.String(required=True, metadata={"description": "b64u of the 32-byte proof"})


class EnvelopesRequest(Schema):
    envelopes = fields.List(fields.Nested(PostedSchema), required=True, validate=validate.Length(1, MOST_IN_ONE_POST))


class ReceiptSchema(Schema):
    envelope_id = fields.String(required=True, allow_none=True)
    status = fields.String(required=True, validate=validate.OneOf(("stored", "duplicate", "refused")))
    reason = fields.String(required=True, allow_none=True)
    sha256 = fields.String(required=True, allow_none=True, metadata={"description": "hexadecimal; null with refused"})
    received_at = fields.String(required=True)
    restored_at = fields.String(allow_none=True, metadata={"description": RESTORED_AT})


class EnvelopesAnswer(Schema):
    receipts = fields.List(fields.Nested(ReceiptSchema), required=True)
