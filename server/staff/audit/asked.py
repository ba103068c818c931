"""What the address of the audit page asks for: by whom, what kind, about which patient, from which day to which, and words."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ACTS, VIEWS = "acts", "views"
PROGRAM = "program"
LONGEST = 60


@dataclass(frozen=True)
class Asked:
    """As typed; `since` and `until` are days of the clinic's calendar, `before` is where the page above ended."""

    show: str = ACTS
    by: str = ""
    kind: str = ""
    patient: str = ""
    find: str = ""
    since: str = ""
    until: str = ""
    before: str = ""

    @property
    def narrowed(self) -> bool:
        return bool(self.by or self.kind or self.patient or self.find or self.since or self.until)

    def address(self, **changes: str) -> dict[str, str]:
        """The arguments of an address that asks the same, with some of them changed; what is empty is left out."""
        asked = replace(self, **changes)
        return {name: value for name, value in vars(asked).items() if value and (name, value) != ("show", ACTS)}

    def instants(self, zone: str) -> tuple[datetime | None, datetime | None]:
        """The first instant that is asked for, and the first after it; None where there is no limit, or none that is a day."""
        since, until = _day(self.since), _day(self.until)
        after = until + timedelta(days=1) if until is not None and until < date.max else None
        return (_midnight(since, zone), _midnight(after, zone))

    @property
    def no_day(self) -> str:
        """What was typed for a day and is none."""
        return next((each for each in (self.since, self.until) if each and _day(each) is None), "")


def asked_in(arguments: Mapping[str, str]) -> Asked:
    """Anything else in an address is left alone."""
    typed = {name: " ".join(arguments.get(name, "").split())[:LONGEST] for name in vars(Asked())}
    return Asked(**{**typed, "show": VIEWS if typed["show"] == VIEWS else ACTS})


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _midnight(on: date | None, zone: str) -> datetime | None:
    return datetime.combine(on, time(), ZoneInfo(zone)) if on is not None and on.year > 1 else None
