"""What is asked, how it is scored, and where each fact comes from: the definitions, for people to read."""

import json
from collections import Counter

from flask import Response, abort, render_template

from scoring.library import UnknownInstrument
from server.exports.questionnaire import questionnaire as fhir_questionnaire
from server.staff import words
from server.staff.here import here, runtime
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
    "not_known": "a period that was not confirmed",
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
    return render_template(
        "staff/instrument.html",
        definition=definition,
        texts=library.texts(spec),
        KIND=KIND,
        RECALL=RECALL,
        STATUS=STATUS,
        language=lambda code: words.LANGUAGE.get(code, code),
    )


def questionnaire(spec: str, language: str) -> Response:
    """The instrument in one language's words as a FHIR R4 Questionnaire, to be saved."""
    library = runtime().library
    try:
        definition, text = library.instrument(spec), library.texts(spec)[language]
    except (UnknownInstrument, KeyError):
        abort(404)
    resource = fhir_questionnaire(definition, text)
    response = Response(json.dumps(resource, ensure_ascii=False, indent=2), mimetype="application/fhir+json")
    response.headers["Content-Disposition"] = f'attachment; filename="{resource["id"]}.json"'
    return response
