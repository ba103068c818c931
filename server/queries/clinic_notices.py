"""Privacy notice and consent texts of the clinic, version by version: what is in force, what was on a day, and the words as they are read.

Rules:

1. A version of a kind holds a text in each language it was entered in. One version of a kind is in force, or none.
2. On the day on which one version took another's place the newer counts. From the day on which the newest was ended none is in force:
   nobody is told of a text that the clinic asks no more.
3. A text whose bytes are no longer those that were installed is shown to no patient: nobody agreed to those words.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.person import NOTICE_KINDS
from server.models import Clinic, ClinicNotice
from server.queries.clock import clinic_day

HEADING = "# "


@dataclass(frozen=True)
class NoticeVersion:
    """`texts` by language, of which there is at least one."""

    kind: str
    version: str
    texts: Mapping[str, ClinicNotice]

    @property
    def since(self) -> datetime:
        """When it came into force; a language may have been added later."""
        return min(each.made_at for each in self.texts.values())

    @property
    def until(self) -> datetime | None:
        """When another took its place or it was ended; None while it is in force."""
        ends = [each.replaced_at for each in self.texts.values()]
        return None if None in ends else max(end for end in ends if end is not None)

    @property
    def first(self) -> ClinicNotice:
        """The text with which it came."""
        return min(self.texts.values(), key=lambda each: each.id)

    def was_ended_by(self, clinic: Clinic, day: date) -> bool:
        """On that day at the clinic or before, without a next version."""
        return self.until is not None and bool(self.first.ended_why) and clinic_day(clinic, self.until) <= day


def notice_versions(session: Session, kind: str | None = None) -> list[NoticeVersion]:
    """All of them or those of one kind, kind by kind, the newest first."""
    wanted = select(ClinicNotice).order_by(ClinicNotice.id)
    if kind is not None:
        wanted = wanted.where(ClinicNotice.kind == kind)
    found = by_version(session.scalars(wanted))
    order = list(NOTICE_KINDS)
    return sorted(found, key=lambda each: (order.index(each.kind), -each.first.id))


def by_version(rows: Iterable[ClinicNotice]) -> list[NoticeVersion]:
    """Rows put together to versions, in the order in which they come."""
    found: dict[tuple[str, str], dict[str, ClinicNotice]] = {}
    for row in rows:
        found.setdefault((row.kind, row.version), {})[row.language] = row
    return [NoticeVersion(kind, version, texts) for (kind, version), texts in found.items()]


def in_force(versions: Iterable[NoticeVersion], kind: str) -> NoticeVersion | None:
    return next((each for each in versions if each.kind == kind and each.until is None), None)


def in_force_on(versions: Iterable[NoticeVersion], kind: str, day: date, clinic: Clinic) -> NoticeVersion | None:
    """Of versions as `notice_versions` orders them, what a patient was given on that day; None where there was none."""
    of_kind = (each for each in versions if each.kind == kind)
    newest = next((each for each in of_kind if clinic_day(clinic, each.since) <= day), None)
    return None if newest is None or newest.was_ended_by(clinic, day) else newest


def notice_hash(title: str, content: str) -> bytes:
    """SHA-256 of the text as a file has it: its title, an empty line, its content, as UTF-8."""
    return hashlib.sha256(notice_file(title, content)).digest()


def notice_file(title: str, content: str) -> bytes:
    return f"{title}\n\n{content}".encode("utf-8", "surrogatepass")


def is_altered(row: ClinicNotice) -> bool:
    """Whether the words are no longer those that were installed."""
    return notice_hash(row.title, row.content) != row.sha256


def paragraphs(content: str) -> list[dict[str, Any]]:
    """`{"heading", "text"}` of each paragraph. A line that begins with `# ` is a heading of its own; lines of a paragraph stay lines."""
    return [{"heading": heading, "text": text} for heading, text in _blocks(content)]


def _blocks(content: str) -> Iterator[tuple[bool, str]]:
    lines: list[str] = []
    for line in [*content.split("\n"), ""]:
        is_heading = line.startswith(HEADING)
        if lines and (is_heading or not line):
            yield False, "\n".join(lines)
            lines = []
        if is_heading:
            yield True, line.removeprefix(HEADING).strip()
        elif line:
            lines.append(line)
