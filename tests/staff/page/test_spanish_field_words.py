"""Whoever chose Spanish reads no English word of the field tables on any staff page of a clinic with something on all of them."""

import re
from collections.abc import Iterator

import pytest
from sqlalchemy import select

from server.fields.event import EVENT
from server.fields.field import Field, Kind
from server.fields.finding import FINDING
from server.fields.operation import OPERATION, SHOULDER
from server.models import ClinicEvent, ClinicFinding, Component, Operation, Shoulder
from server.words.language import Words
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.tree import Node, read_tree
from tests.staff.visited import Visited, fill_clinic
from tests.words.field_terms import field_terms

SPANISH = Words("staff", "es")
# They hold what definitions and their texts say, which stays in the words of its owner.
OF_INSTRUMENTS = re.compile(r"^/instruments/|/constant$")
CHOSEN = (Kind.CHOICE, Kind.SEVERAL, Kind.YES_NO, Kind.CODED)
NOT_READ = frozenset({"script", "style"})
SHOWN = ("aria-label", "title", "placeholder", "alt", "label")
BETWEEN = re.compile(r"[,;:.()“”«»|]|\s[–·]\s")


def english_words() -> set[str]:
    """Those that Spanish says otherwise, and that stand in no Spanish text of the tables either, as `notching` does."""
    terms = {term for _path, term in field_terms()}
    spanish = "\n".join(SPANISH.say(term) for term in terms).casefold()
    return {str(term) for term in terms if not re.search(rf"\b{re.escape(term.casefold())}\b", spanish)}


def read_in_spanish(node: Node) -> Iterator[str]:
    """Every text that is not marked as of another language, such as the questions of an English instrument."""
    for part in node.parts:
        if isinstance(part, str):
            yield " ".join(part.split())
        elif part.tag not in NOT_READ and part.attributes.get("lang", "es") == "es":
            yield from (part.attributes[name] for name in SHOWN if part.attributes.get(name))
            yield from read_in_spanish(part)


def english_in(html: str, known: set[str]) -> set[str]:
    """A word alone as one piece of a text; several anywhere in it."""
    found: set[str] = set()
    alone = {word.casefold() for word in known}
    phrases = [word.casefold() for word in known if " " in word]
    for text in read_in_spanish(read_tree(html)):
        folded = text.casefold()
        found |= {piece.strip() for piece in BETWEEN.split(folded) if piece.strip() in alone}
        found |= {each for each in phrases if each in folded}
    return found


def recorded(staff: StaffCase, clinic: Visited) -> None:
    """Each choice of the operations, the visit and the event that is open yet, each by another of its words."""
    tables = ((Operation, OPERATION), (Shoulder, SHOULDER), (ClinicFinding, FINDING), (ClinicEvent, EVENT))
    with staff.case.store.writing() as session:
        for model, fields in tables:
            for number, row in enumerate(session.scalars(select(model))):
                for field in fields:
                    if getattr(row, field.name) is None and field.kind in CHOSEN:
                        setattr(row, field.name, value_of(field, number))
        for operation in session.scalars(select(Operation)):
            operation.put_in.append(
                Component(role="liner", lot="4711", fixation="coupled", material="ceramic", made_at=staff.case.now)
            )


def value_of(field: Field, number: int) -> object:
    if field.kind == Kind.YES_NO:
        return True
    words = [code for code in field.words if code not in ("other", "first_of_two")]
    return words[number % len(words)]


def spanish(staff: StaffCase, role: str) -> Staff:
    person = staff.sign_in(role)
    assert person.post("/account/language", {"language": "es"}).status_code == 302
    return person


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")  # pages say the same on either
def test_no_page_shows_an_english_word_of_the_tables(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    recorded(staff, clinic)
    known, found, seen = english_words(), set[str](), 0
    assert len(known) > 400
    for role in ("nurse", "surgeon", "data_manager"):
        person = spanish(staff, role)
        for path in (path for path in clinic.pages[role] if not OF_INSTRUMENTS.search(path)):
            html = person.get(path).text
            assert '<html lang="es"' in html, path
            seen += 1
            found |= {f"{path}: {word}" for word in english_in(html, known)}
    assert sorted(found) == []
    assert seen > 60


def test_an_english_word_is_found() -> None:
    known = english_words()
    assert {"diagnosis", "cuff tear arthropathy"} <= {word.casefold() for word in known}
    html = '<p lang="en">Diagnosis</p><p title="Fixation">Tipo: <b>cuff tear arthropathy</b> (reverse)</p>'
    assert english_in(html, known) == {"fixation", "cuff tear arthropathy", "reverse"}
