"""The answers of one form in the words that were asked and chosen, for a patient's whole file."""

from typing import Any

from sqlalchemy.orm import Session

from scoring.library import Document, Library, UnknownInstrument
from server.crypto.fields import FieldProblem
from server.forms.stored import StoredAnswer, StoredAnswersProblem, StoredPart, open_answers
from server.installation.runtime import Runtime
from server.models import InstalledText, Patient, Response
from server.queries.texts_in_force import installed_document
from server.trust.keys import KeyMissing
from server.words import labels
from server.words.language import Words
from server.words.languages import direction_of


def answers_of(session: Session, response: Response, machine: Runtime) -> list[dict[str, Any]] | None:
    """Instrument by instrument; None where they do not open, since the key is gone or the answers were erased."""
    patient = session.get_one(Patient, response.patient_id)
    try:
        stored = open_answers(response.answers, machine.keys.patient_cipher(patient.handle))
    except (KeyMissing, FieldProblem, StoredAnswersProblem):
        return None
    return [_part(session, part, machine.library, response.asked_side) for part in stored.parts]


def _part(session: Session, part: StoredPart, library: Library, side: str | None) -> dict[str, Any]:
    text = _text(session, part, library)
    items = text.get("items", {})
    language = str(text.get("language", "en"))
    return {
        "instrument": part.instrument,
        "text": part.text_id,
        "title": text.get("title", ""),
        "language": language,
        "direction": direction_of(language),
        "answers": [
            _answer(item, answer, items.get(item, {}), _side(side, language)) for item, answer in part.answers.items()
        ],
    }


def _text(session: Session, part: StoredPart, library: Library) -> Document:
    """The wording that was shown, if it is still here: installed by the clinic, or shipped."""
    installed = session.get(InstalledText, part.text_id)
    if installed is not None:
        return installed_document(installed)
    try:
        shipped = library.texts(part.instrument).values()
    except UnknownInstrument:
        return {}
    return next((text for text in shipped if text["text_id"] == part.text_id), {})


def _side(side: str | None, language: str) -> str:
    """The shoulder in the words of the question; dots in a language that has none here, or where the form did not name it."""
    spoken = Words("staff", language)
    return spoken.say(labels.SIDE[side]) if side and spoken.language == language else "…"


def _answer(item: str, answer: StoredAnswer, asked: Document, side: str) -> dict[str, Any]:
    """`said`: the chosen words; of a number or a text the answer itself, of an item that was not answered nothing."""
    said = asked.get("options", {}).get(str(answer.value)) if answer.state == "answered" else None
    return {
        "item": item,
        "question": str(asked.get("stem", "")).replace("{side}", side),
        "state": answer.state,
        "value": answer.value,
        "said": said or ("" if answer.value is None else str(answer.value)),
    }
