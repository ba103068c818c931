"""What was entered of the person while two records were one, in words, for the page that asks whose it is."""

from collections.abc import Iterable
from dataclasses import dataclass

from server.clinic.merge_since import CONSENT, Since
from server.fields.person import CONSENT_KINDS, WITHDRAWAL_EXTENTS
from server.models import Patient
from server.staff.page import words


@dataclass(frozen=True)
class Said:
    """`fact`: the word by which it is asked about."""

    fact: str
    sentence: str


def said(facts: Iterable[Since], kept: Patient) -> list[Said]:
    return [Said(each.fact, _sentence(each, kept)) for each in facts]


def _sentence(since: Since, kept: Patient) -> str:
    if since.fact.startswith(CONSENT):
        named = {
            "kind": words.say(CONSENT_KINDS[since.fact.removeprefix(CONSENT)]),
            "day": words.day(since.consents[0].withdrawn_on),
        }
        return words.gettext("The consent to %(kind)s was withdrawn on %(day)s") % named
    if since.fact == "died":
        return words.gettext("Died on %(day)s") % {"day": words.day(kept.died_on)}
    if since.fact == "transferred":
        return words.gettext("Another clinic follows up since %(day)s") % {"day": words.day(kept.transferred_on)}
    if since.fact == "capacity":
        return words.gettext("Can no longer decide since %(day)s") % {"day": words.day(kept.capacity_lost_on)}
    extent = words.say(WITHDRAWAL_EXTENTS[kept.withdrawal_extent or "contact"])
    named = {"day": words.day(kept.withdrew_on or kept.messages_stopped_on), "extent": extent}
    return words.gettext("Withdrew on %(day)s: %(extent)s") % named
