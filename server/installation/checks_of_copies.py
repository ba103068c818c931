"""Whether the clinic would live on if this machine died: copies of data and keys, and a restore that was proved."""

from datetime import timedelta

from server.installation.finding import Finding, Look
from server.queries.copies import NOT_COMPARED, SAME, found_by, newest_copy, newest_drill
from server.queries.restored import was_restored
from server.words.phrase import phrase

OLDEST_COPY = timedelta(days=2)  # a nightly one may fail once
OLDEST_PROOF = timedelta(days=92)


def data_are_copied(look: Look) -> Finding:
    """Often enough that what a clinic enters in a day or two can be entered again."""
    copy = newest_copy(look.session, "data")
    do = phrase(
        "On the server: %(command)s --to PLACE, every night, best to another disk.", command=look.command("backup")
    )
    if copy is None:
        if was_restored(look.session):
            return Finding("data_copied", phrase("The data were not copied since the restore."), do)
        return Finding("data_copied", phrase("The data were never copied: if this machine dies they are gone."), do)
    what = phrase("The data were last copied on %(on)s.", on=copy.made_at.date())
    return Finding("data_copied", what, do if look.now - copy.made_at > OLDEST_COPY else None)


def keys_are_copied(look: Look) -> Finding:
    """As often as the data: each new patient has a key, and a copy of the data without it opens no answer."""
    copy = newest_copy(look.session, "keys")
    do = phrase(
        "On the server: %(command)s --to PLACE, as often as the data, to another place than those.",
        command=look.command("backup-keys"),
    )
    if copy is None:
        if was_restored(look.session):
            return Finding("keys_copied", phrase("The keys were not copied since the restore."), do)
        what = phrase("The keys were never copied: without them nobody reads a name or an answer again.")
        return Finding("keys_copied", what, do)
    what = phrase("The keys were last copied on %(on)s.", on=copy.made_at.date())
    return Finding("keys_copied", what, do if look.now - copy.made_at > OLDEST_COPY else None)


def restore_is_proved(look: Look) -> Finding:
    """Only a copy that was restored is known to be one, and the newest drill says it, whatever earlier ones have said."""
    drill = newest_drill(look.session)
    do = phrase(
        "On the server: %(command)s restores the newest copy into a folder of its own and compares.",
        command=look.command("drill"),
    )
    if drill is None:
        if was_restored(look.session):
            return Finding("restore_proved", phrase("No copy was tried since this clinic was restored."), do)
        return Finding("restore_proved", phrase("No copy was ever restored to see that it is whole."), do)
    on, found = drill.proved_at.date(), found_by(drill)
    if found == SAME:
        what = phrase("A copy was last restored and compared on %(on)s.", on=on)
        return Finding("restore_proved", what, do if look.now - drill.proved_at > OLDEST_PROOF else None)
    if found == NOT_COMPARED:
        what = phrase("A copy was last restored on %(on)s; its rows were counted, and nothing else compared.", on=on)
        return Finding(
            "restore_proved",
            what,
            phrase(
                "On the server: %(copy)s --to PLACE, then %(drill)s.",
                copy=look.command("backup"),
                drill=look.command("drill"),
            ),
        )
    what = phrase(
        "The last try to restore a copy, on %(on)s, has failed or found something else than was copied.", on=on
    )
    return Finding(
        "restore_proved",
        what,
        phrase("On the server: %(command)s says what is wrong with the copy.", command=look.command("drill")),
    )
