"""Whether the keys that are in use lie where they are looked for: without them a running server reads nothing, and starts no more."""

from server.installation.finding import Finding, Look
from server.installation.key_check import missing_keys, patients_without_key
from server.words.phrase import counted_phrase, phrase


def keys_are_there(look: Look) -> Finding:
    """The clinic's own, and that of each patient: only to look for its file takes no time, also for many thousands."""
    folder = str(look.runtime.keys.folder)
    do = phrase(
        "On the server: bring the key folder back from its newest copy, or let YEARMARK_KEYS in yearmark.env in the data folder name "
        "where it lies. Do it before anything else: nothing that comes meanwhile can be read."
    )
    if missing_keys(look.runtime):
        what = phrase("The clinic's keys are not in %(folder)s: no name and no answer can be read.", folder=folder)
        return Finding("keys_there", what, do)
    without, _patients = patients_without_key(look.runtime)
    if without:
        what = counted_phrase(
            "The key of %(count)s patient is not in %(folder)s: nobody can read what that patient answers.",
            "The keys of %(count)s patients are not in %(folder)s: nobody can read what they answer.",
            without,
            folder=folder,
        )
        return Finding("keys_there", what, do)
    return Finding("keys_there", phrase("The keys in use are all in the key folder."))
