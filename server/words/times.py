"""How long ago something was."""

from datetime import datetime, timedelta

from server.words.phrase import Phrase, counted_phrase, phrase


def ago(at: datetime, now: datetime) -> Phrase:
    """For what may matter within the day: hours, and from the second day on days."""
    passed = now - at
    if passed < timedelta(hours=1):
        return phrase("less than an hour ago")
    if passed < timedelta(days=2):
        return counted_phrase("%(count)s hour ago", "%(count)s hours ago", int(passed.total_seconds() // 3600))
    return counted_phrase("%(count)s day ago", "%(count)s days ago", passed.days)
