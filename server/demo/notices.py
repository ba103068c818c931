"""The invented clinic's privacy notice and consent texts, which say that they are invented."""

from datetime import datetime
from importlib.resources import files

from sqlalchemy.orm import Session

from server.fields.person import NOTICE_KINDS
from server.queries.clock import the_clinic
from server.texts.notices import Wording, install_version, languages_of

VERSION = "1"


def install_notices(session: Session, *, now: datetime, by_id: int) -> None:
    """As a data manager does on the page, before the first patient is enrolled."""
    for kind in NOTICE_KINDS:
        texts = {code: _read(kind, code) for code in languages_of(the_clinic(session))}
        install_version(session, kind, VERSION, texts, replaces="", now=now, by_id=by_id)


def _read(kind: str, language: str) -> Wording:
    title, _, content = (
        (files("server.demo") / "notice_texts" / f"{kind}.{language}.txt").read_text("utf-8").partition("\n")
    )
    return Wording(title, content)
