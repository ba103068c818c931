"""Strict base64url (RFC 4648 section 5, no padding), and JSON as it is written; it is read by scoring.strict_json."""

import base64
import binascii
import json
from typing import Any

_STANDARD = bytes.maketrans(b"-_", b"+/")


class EncodingProblem(ValueError):
    """Text that is not exactly the form PROTOCOL.md asks for."""


def b64u(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


def unb64u(text: str) -> bytes:
    """The bytes of `text`. Raises EncodingProblem on padding, white space, other alphabets and non-zero trailing bits."""
    try:
        plain = text.encode("ascii").translate(_STANDARD)
        data = binascii.a2b_base64(plain + b"=" * (-len(plain) % 4), strict_mode=True)
    except ValueError as problem:
        raise EncodingProblem("not base64url") from problem
    if b64u(data) != text:
        raise EncodingProblem("not the one base64url form of these bytes")
    return data


def compact_json(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode("utf-8")
