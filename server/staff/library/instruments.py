"""What is asked, how it is scored, and where each fact comes from: the definitions, for people to read."""

import json

from flask import Response, abort, render_template

from scoring.definition import Definition
from scoring.library import Library, UnknownInstrument
from scoring.threshold_choice import RULE
from server.exports.questionnaire import questionnaire as fhir_questionnaire
from server.queries.texts_in_force import Document, Wording, read_wording
from server.schedule.preference import PREFERENCE
from server.staff.library.instrument_files import examples_of, source_of
from server.staff.library.instrument_sources import (
    STATUS,
    asked_here,
    found_by,
    not_sourced,
    sourced,
    why_in_full,
    why_sent,
)
from server.staff.library.instrument_use import answers_by_version, uses_of
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context, runtime
from server.staff.page.rule_text import blanks_rule, rule_sentences
from server.staff.page.threshold_text import show_threshold
from server.timepoints.plans import read_plans
from server.words.languages import direction_of
from server.words.phrase import phrase_in

RECALL = {
    "now": phrase_in("period", "the present"),
    "day": phrase_in("period", "the last day"),
    "week": phrase_in("period", "the last week"),
    "four_weeks": phrase_in("period", "the last four weeks"),
    "since_last": phrase_in("period", "since last time"),
    "not_known": phrase_in("period", "a period that was not confirmed"),
}


def instruments() -> str:
    """The page of all instruments, each with where it is used and how many answers there are."""
    library = runtime().library
    found = sorted(library.definitions.values(), key=lambda each: (each.kind == "form", each.title))
    with reading() as session:
        answers, plans = answers_by_version(session), read_plans(session)
        licensed = read_wording(session, library).licensed()
    return render_template(
        "staff/library/instruments.html",
        definitions=found,
        titles={each.spec: words.gettext(each.title) for each in found},
        answers=answers,
        uses={each.spec: uses_of(each.spec, plans) for each in found},
        UNCOUNTED=PREFERENCE.instrument,
        plan=plans.usable.get(request_context().default_plan),
        STATUS=STATUS,
        RECALL=RECALL,
        found_by=found_by,
        why_sent=lambda each: why_sent(each, licensed),
    )


def instrument(spec: str) -> str:
    """The page of one instrument: items, scales, blanks, thresholds, sources, and where it is used. 404 for an unknown one."""
    library = runtime().library
    try:
        definition = library.instrument(spec)
    except UnknownInstrument:
        abort(404)
    with reading() as session:
        answers, wording, plans = answers_by_version(session), read_wording(session, library), read_plans(session)
    return render_template(
        "staff/library/instrument.html",
        definition=definition,
        versions=_versions(library, definition),
        answers=answers,
        UNCOUNTED=PREFERENCE.instrument,
        uses=uses_of(definition.spec, plans),
        texts=_texts(wording, definition),
        examples=examples_of(definition.id, definition.version),
        told=source_of(definition.id, definition.version),
        thresholds=[show_threshold(definition, each) for each in definition.thresholds],
        choice_rule=RULE,
        RECALL=RECALL,
        STATUS=STATUS,
        sourced=sourced(definition),
        not_sourced=not_sourced(definition),
        found_by=found_by(definition),
        why_sent=why_sent(definition, wording.licensed()),
        asked_here=asked_here(definition, wording),
        why_in_full=why_in_full(definition),
        blanks_rule=blanks_rule,
        rule_sentences=rule_sentences,
        rests_on=lambda scale: _rests_on(definition, scale),
        language=words.language,
        direction_of=direction_of,
    )


def questionnaire(spec: str, language: str) -> Response:
    """The instrument in one language's words as a FHIR R4 Questionnaire, to be saved."""
    library = runtime().library
    try:
        definition = library.instrument(spec)
        with reading() as session:
            text = _texts(read_wording(session, library), definition)[language]
    except (UnknownInstrument, KeyError):
        abort(404)
    resource = fhir_questionnaire(definition, text)
    response = Response(json.dumps(resource, ensure_ascii=False, indent=2), mimetype="application/fhir+json")
    response.headers["Content-Disposition"] = f'attachment; filename="{resource["id"]}.json"'
    return response


def _versions(library: Library, definition: Definition) -> list[Definition]:
    """Of this instrument, the newest first."""
    found = [each for each in library.definitions.values() if each.id == definition.id]
    return sorted(found, key=lambda each: int(each.version), reverse=True)


def _rests_on(definition: Definition, scale_name: str) -> int:
    """How many items a scale needs, also through other scales."""
    return len(_items(definition, scale_name))


def _items(definition: Definition, scale_name: str) -> set[str]:
    rule = definition.by_scale[scale_name].rule
    return set(rule.items).union(*(_items(definition, name) for name in rule.scales))


def _texts(wording: Wording, definition: Definition) -> dict[str, Document]:
    """By language: the licensed text in force, else the descriptive one. An altered text is shown on its own page only."""
    spec = definition.spec
    licensed = {code: text for (of, code), text in wording.installed.items() if of == spec and text["items"]}
    return {**wording.library.texts(spec), **licensed}
