"""What somebody is asked about before it is kept: a tick holds for the sentences that the page showed, never for one that came up since.

The page sends a digest of each along with the tick. Whoever changes the form after that is asked again about what is new.
"""

from collections.abc import Iterable, Mapping
from hashlib import sha256

SHOWN = "asked-about"  # the hidden field beside the tick


def digests(sentences: Iterable[str]) -> str:
    """What the page sends along of the sentences that it shows."""
    return " ".join(sha256(each.encode()).hexdigest() for each in sentences)


def has_checked(sentences: Iterable[str], form: Mapping[str, str]) -> bool:
    """Whether each of these was shown, and ticked as checked."""
    shown = set(form.get(SHOWN, "").split())
    return bool(form.get("checked")) and shown.issuperset(digests(sentences).split())
