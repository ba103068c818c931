"""A surgeon leaves the clinic as a code: the same in every export, and no name can be worked out from it without the key folder.

The code is a keyed hash of the name under the clinic's first field key, which stays in the key folder for as long as anything that it
sealed. So it needs no table, and a name that is put right gets the code of the right name. Rejected: numbers in the order of entry,
which move when a name is corrected; a hash without a key, from which a short list of names is guessed at once.
"""

import base64
import hashlib
import hmac
from collections.abc import Callable

from server.crypto.fields import FieldRing

_CHARACTERS = 8


def surgeon_codes(ring: FieldRing) -> Callable[[str | None], str | None]:
    """The code for a name, whatever its capitals and spaces; None for none. S- and eight characters."""
    key = next(iter(ring.keys.values()), b"")

    def code(name: str | None) -> str | None:
        plain = " ".join((name or "").casefold().split())
        if not plain or not key:
            return None
        digest = hmac.digest(key, b"yearmark surgeon code\x00" + plain.encode(), hashlib.sha256)
        return f"S-{base64.b32encode(digest).decode()[:_CHARACTERS]}"

    return code
