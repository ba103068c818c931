"""Whether the clinic would live on if this machine died: copies of data and keys, and a restore that was proved."""

from datetime import timedelta

from server.installation.finding import Finding, Look
from server.queries.copies import newest_copy, newest_proof
from server.words.phrase import phrase

OLDEST_COPY = timedelta(days=2)  # a nightly one may fail once
OLDEST_PROOF = timedelta(days=92)


def data_are_copied(look: Look) -> Finding:
    """Often enough that what a clinic enters in a day or two can be entered again."""
    copy = newest_copy(look.session, "data")
    do = phrase("On the server: yearmark backup --to PLACE, every night, best to another disk.")
    if copy is None:
        return Finding("data_copied", phrase("The data were never copied: if this machine dies they are gone."), do)
    what = phrase("The data were last copied on %(on)s.", on=copy.made_at.date())
    return Finding("data_copied", what, do if look.now - copy.made_at > OLDEST_COPY else None)


def keys_are_copied(look: Look) -> Finding:
    """As often as the data: each new patient has a key, and a copy of the data without it opens no answer."""
    copy = newest_copy(look.session, "keys")
    do = phrase("On the server: yearmark backup-keys --to PLACE, as often as the data, to another place than those.")
    if copy is None:
        what = phrase("The keys were never copied: without them nobody reads a name or an answer again.")
        return Finding("keys_copied", what, do)
    what = phrase("The keys were last copied on %(on)s.", on=copy.made_at.date())
    return Finding("keys_copied", what, do if look.now - copy.made_at > OLDEST_COPY else None)


def restore_is_proved(look: Look) -> Finding:
    """Only a copy that was restored is known to be one."""
    proof = newest_proof(look.session)
    do = phrase("On the server: yearmark drill restores the newest copy into a folder of its own and compares.")
    if proof is None:
        return Finding("restore_proved", phrase("No copy was ever restored to see that it is whole."), do)
    what = phrase("A copy was last restored and compared on %(on)s.", on=proof.proved_at.date())
    return Finding("restore_proved", what, do if look.now - proof.proved_at > OLDEST_PROOF else None)
