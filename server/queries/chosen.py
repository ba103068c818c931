"""Which option of an item a patient chose, in the words in which it was asked. Opens the patient's own key, and nothing of it is kept.

A flag names the item and no answer, so that what was answered stays under that key: it is read from the response whenever it is shown.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.definition import Definition, Item
from scoring.library import Library, UnknownInstrument
from server.crypto.fields import FieldProblem, PatientCipher
from server.forms.stored import StoredAnswers, StoredAnswersProblem, open_answers
from server.models import InstalledText, Patient, Response
from server.queries.texts_in_force import Document, installed_document
from server.words.phrase import Phrase, phrase

CipherOf = Callable[[str], PatientCipher]  # by the patient's handle; LookupError without the key
Asked = tuple[int, str]  # the response, and the item as a flag names it: "early@2/3"

ERASED = phrase("which answer it was cannot be read any more: the answers of this patient were erased")
KEY_MISSING = phrase("which answer it was cannot be read now: the key of this patient is not in the key folder")
NOT_OPENED = phrase("which answer it was cannot be read: the answers do not open under this patient's key")
NOT_THERE = phrase("which answer it was cannot be read: the response holds none to this question")


@dataclass(frozen=True)
class Chosen:
    """`option` is what was chosen, as it was worded in `language`; empty where it can only be yes, or with `unread`, which says why.

    `translated`: what the same option reads in other languages, by tag, of the texts that are here now.
    `emergency`: the form names the emergency number after this answer. Where the answer is not known it counts as such if one of
    the options is.
    """

    option: str
    language: str
    emergency: bool
    unread: Phrase | None = None
    translated: Mapping[str, str] = field(default_factory=dict)


def chosen_options(
    session: Session, asked: Collection[Asked], cipher_of: CipherOf, library: Library
) -> dict[Asked, Chosen]:
    """For each item of `asked` that a definition still knows. A response is opened once, and only where the flag leaves the answer open."""
    known = {each: item for each in asked if (item := item_of(each[1], library)) is not None}
    opened = _opened(session, {each[0] for each, item in known.items() if not _only_yes(item)}, cipher_of)
    return {
        each: Chosen("", "", bool(item.emergency))
        if _only_yes(item)
        else _chosen(session, library, each[1], item, opened[each[0]])
        for each, item in known.items()
    }


def item_of(name: str, library: Library) -> Item | None:
    """The definition of "early@2/3"; None where no version that is here has it."""
    spec, _, number = name.partition("/")
    try:
        return library.instrument(spec).by_item.get(number)
    except UnknownInstrument:
        return None


def _only_yes(item: Item) -> bool:
    """Whether a flag of this item can mean one answer only: yes, of yes and no."""
    return len(item.numbers) == len(("yes", "no")) and len(item.warning) <= 1


def _opened(session: Session, ids: Collection[int], cipher_of: CipherOf) -> dict[int, StoredAnswers | Phrase]:
    """By response: its answers, or why they cannot be read. Erased is what the patient's row says, never a guess from a missing key."""
    rows = select(Response.id, Response.answers, Patient.handle, Patient.erased_at)
    query = rows.join(Patient, Patient.id == Response.patient_id).where(Response.id.in_(ids))
    opened: dict[int, StoredAnswers | Phrase] = {}
    for row in session.execute(query) if ids else ():
        try:
            opened[row.id] = ERASED if row.erased_at else open_answers(row.answers, cipher_of(row.handle))
        except LookupError:
            opened[row.id] = KEY_MISSING
        except (FieldProblem, StoredAnswersProblem):
            opened[row.id] = NOT_OPENED
    return opened


def _chosen(session: Session, library: Library, name: str, item: Item, opened: StoredAnswers | Phrase) -> Chosen:
    if isinstance(opened, Phrase):
        return Chosen("", "", bool(item.emergency), opened)
    spec, _, number = name.partition("/")
    part = next((each for each in opened.parts if each.instrument == spec), None)
    answer = part.answers.get(number) if part else None
    if part is None or answer is None or answer.state != "answered":
        return Chosen("", "", bool(item.emergency), NOT_THERE)
    code, emergency = str(answer.value), answer.value in item.emergency
    definition, language = library.instrument(spec), language_of(part.text_id)
    option = _option(words_shown(session, library, definition, part.text_id), number, code)
    lost = phrase("the answer was number %(code)s; the words in which it was asked are not here", code=code)
    if not option:
        return Chosen("", language, emergency, lost)
    others = _texts_here(session, library, definition)
    read_as = {tag: _option(text["items"], number, code) for tag, text in others.items() if not _same(tag, language)}
    return Chosen(option, language, emergency, translated={tag: said for tag, said in read_as.items() if said})


def _option(items: Mapping[str, Any], number: str, code: str) -> str:
    return str(items.get(number, {}).get("options", {}).get(code, ""))


def _same(tag: str, other: str) -> bool:
    """Whether who reads the one reads the other: es and es-MX."""
    return tag.split("-")[0] == other.split("-")[0]


def _texts_here(session: Session, library: Library, definition: Definition) -> dict[str, Document]:
    """The texts of one version of an instrument by language: shipped, and in their place what the clinic installed and has in force."""
    installed = select(InstalledText).where(
        InstalledText.instrument == definition.id,
        InstalledText.instrument_version == definition.version,
        InstalledText.replaced_at.is_(None),
    )
    here = {row.language: installed_document(row) for row in session.scalars(installed)}
    return {**library.texts(definition.spec), **here}


def words_shown(session: Session, library: Library, definition: Definition, text_id: str) -> Mapping[str, Any]:
    """The wording that was shown, by item, if it is still here: shipped, or installed by the clinic."""
    installed = session.get(InstalledText, text_id)
    if installed is not None:
        return dict(installed_document(installed)["items"])
    try:
        shipped = library.texts(definition.spec).values()
    except UnknownInstrument:
        return {}
    return next((dict(text["items"]) for text in shipped if text["text_id"] == text_id), {})


def language_of(text_id: str) -> str:
    """ "es" of early@2/es/descriptive-1."""
    return text_id.split("/")[1] if text_id.count("/") == 2 else "en"
