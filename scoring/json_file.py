"""A JSON file as somebody sends it: its size, its encoding, and where it is not what it should be."""

import hashlib
import re
from typing import Any

from scoring.strict_json import JsonProblem, faults_by_place, load_strict_json, shown

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_HASH = re.compile(r"[0-9a-f]{64}")


def check_sha256(data: bytes, stated: str) -> None:
    """Raises JsonProblem unless the file has the hash that its sender stated; an empty one is none. Spaces and colons do not count."""
    wanted, digest = re.sub(r"[\s:]", "", stated).lower(), hashlib.sha256(data).hexdigest()
    if wanted and not _HASH.fullmatch(wanted):
        raise JsonProblem(f"SHA-256: {shown(stated)} is not 64 digits of 0-9 and a-f")
    if wanted and wanted != digest:
        raise JsonProblem(f"SHA-256: the file has {digest}, not the one stated; it was changed on the way")


def decode_file(data: bytes, longest: int, kind: str) -> str:
    """The text of the file. Raises JsonProblem. `longest` in bytes; `kind` is what the file holds, such as "a text"."""
    if not data:
        raise JsonProblem("the file is empty")
    if len(data) > longest:
        raise JsonProblem(f"the file has more than {longest:,} bytes, and {kind} has at most so many")
    if data.startswith(BYTE_ORDER_MARK):
        raise JsonProblem("the file begins with a byte-order mark; save it as UTF-8 without one")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JsonProblem(f"the file is not UTF-8 (byte {error.start}); save it as UTF-8") from error


def load_file(content: str) -> dict[str, Any]:
    """The one object that the file holds. Raises JsonProblem, with the place of a key that stands twice or of what is no number."""
    try:
        document = load_strict_json(content)
    except JsonProblem as problem:
        raise JsonProblem(next(faults_by_place(content), str(problem))) from problem
    if not isinstance(document, dict):
        raise JsonProblem("the file must hold one JSON object, as instruments/README.md shows it")
    return document
