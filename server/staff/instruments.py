"""What is asked, how it is scored, and where each fact comes from: the definitions, for people to read."""

from collections import Counter

from flask import abort, render_template

from scoring.definition import Definition
from scoring.library import UnknownInstrument
from server.models.wording import Document, Wording, read_wording
from server.staff import words
from server.staff.here import here, reading, runtime
from server.texts.languages import direction_of
from server.timepoints.plans import plan_named

KIND = {
    "mcid": "smallest change that matters",
    "scb": "substantial benefit",
    "detectable_change": "smallest change beyond measurement error",
    "pass": "acceptable state",
}
RECALL = {
    "now": "the present",
    "day": "the last day",
    "week": "the last week",
    "four_weeks": "the last four weeks",
    "since_last": "since last time",
}
STATUS = {"usable": "can be sent", "needs_permission": "needs the owner's permission", "unverified": "not verified"}


def instruments() -> str:
    library, plan = runtime().library, plan_named(here().default_plan)
    asked = Counter(part.instrument for entry in plan.entries() for part in entry.parts)
    found = sorted(library.definitions.values(), key=lambda each: (each.kind == "form", each.title))
    return render_template(
        "staff/instruments.html", definitions=found, asked=asked, plan=plan, STATUS=STATUS, RECALL=RECALL
    )


def instrument(spec: str) -> str:
    library = runtime().library
    try:
        definition = library.instrument(spec)
    except UnknownInstrument:
        abort(404)
    with reading() as session:
        installed = read_wording(session, library)
    return render_template(
        "staff/instrument.html",
        definition=definition,
        texts=_texts(installed, definition),
        KIND=KIND,
        RECALL=RECALL,
        STATUS=STATUS,
        language=words.language,
        direction_of=direction_of,
    )


def _texts(wording: Wording, definition: Definition) -> dict[str, Document]:
    """By language: the licensed text in force, else the descriptive one. An altered text is shown on its own page only."""
    spec = definition.spec
    licensed = {code: text for (of, code), text in wording.installed.items() if of == spec and text["items"]}
    return {**wording.library.texts(spec), **licensed}
