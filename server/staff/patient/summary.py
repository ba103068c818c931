"""What a patient's record says, in plain sentences made from the data. A threshold is named only with whom it was found in."""

from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from scoring.change import is_within_error
from scoring.library import Library
from scoring.steps import fraction_of
from server.fields.operation_words import threshold_type
from server.schedule.status import ANSWERED, WAITING, Reason, Status
from server.staff.page import words
from server.staff.page.threshold_text import error_beside
from server.staff.patient.change_table import FRACTURE, before_words, is_fracture, printed_score_of
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import PrintedScore, points
from server.staff.patient.score_series import STATE, TrackedInstrument, day_of, tracked_instruments
from server.words import labels
from server.words.phrase import phrase

MOST_LISTED = 4
# What the patient did not answer, in the order in which it is told.
NOT_OF_THE_PATIENT = (
    phrase("by somebody else: %(forms)s"),
    phrase("missed: %(forms)s"),
    phrase("could not be asked, as a text might not be sent or was missing: %(forms)s"),
    phrase("asked about the other shoulder, before the side was put right: %(forms)s"),
    phrase("never asked, as nobody could be reached: %(forms)s"),
)
# A form that was not answered on the patient's own screen, and what that does to its answers.
BY_MODE = {
    "telephone": phrase("By telephone: %(forms)s; a voice on the telephone tends to get better answers."),
    "paper": phrase("By paper: %(forms)s; typed in by staff."),
}


@dataclass(frozen=True)
class Paragraph:
    """`text` is escaped where it is shown; a Markup holds links. `side` is the shoulder that it speaks of, if it is one."""

    side: str
    text: str


def summarise(record: Record, library: Library, *, zone: str) -> list[tuple[str, list[Paragraph]]]:
    """Headings with their paragraphs; a heading without anything to say is left out."""
    sections = [
        (words.gettext("What it says"), [_shoulder(side, library, zone) for side in record.sides]),
        (words.gettext("Acceptable state"), [each for side in record.sides for each in _state(side, zone)]),
        (words.gettext("Read with care"), _care(record)),
    ]
    return [(heading, paragraphs) for heading, paragraphs in sections if paragraphs]


def descriptive_note(record: Record, library: Library) -> str:
    """Under a figure: which of its scores come from descriptive texts; empty when none does."""
    steps = [step for side in record.sides for step in side.answered]
    scores = [score for step in steps if step.response for score in step.response.scores]
    found = {f"{each.instrument}@{each.instrument_version}" for each in scores if "/descriptive-" in each.text_id}
    titles = sorted(library.instrument(spec).title for spec in found)
    if not titles:
        return ""
    said = words.gettext("Asked in descriptive texts, not the owners' words: %(titles)s.")
    return said % {"titles": "; ".join(titles)}


def _shoulder(side: Side, library: Library, zone: str) -> Paragraph:
    sentences = [_answered(side)]
    if side.answered:
        sentences += [_last(side, library, zone), _since_before(side, library), _since_last(side, library)]
    return Paragraph(side.side, Markup(" ").join(sentence for sentence in sentences if sentence))


def _answered(side: Side) -> str:
    over = side.over
    waiting = [step for step in side.steps if step.status in WAITING and not step.is_others]
    done = [step for step in over if step.status in ANSWERED]
    missed = [step for step in over if step.status == Status.MISSED]
    unasked = [step for step in over if step.status == Status.NEVER_ASKED]
    withheld = [step for step in unasked if step.reason == Reason.TEXT_WITHHELD]
    other_side = [step for step in unasked if step.reason == Reason.OTHER_SIDE]
    not_reached = [step for step in unasked if step.reason == Reason.NOT_REACHED]
    if not over:
        if not waiting:
            return words.gettext("Nothing is answered yet.")
        return words.gettext("The first form is open; nothing is answered yet.")
    parts = [_share_answered(len(done), len(over) - len(unasked))]
    others = [step for step in done if step.is_answered_by_another]
    for which, said in zip((others, missed, withheld, other_side, not_reached), NOT_OF_THE_PATIENT, strict=True):
        parts += [words.say(said) % {"forms": _listed(which)}] if which else []
    text = f"{'; '.join(parts)}."
    if not waiting:
        return text
    now = words.gettext("Open now: %(forms)s.") % {"forms": _listed(waiting)}
    return f"{text} {now}"


def _share_answered(done: int, asked: int) -> str:
    if not asked:
        return words.gettext("Nothing is answered yet")
    if not done:
        return words.plural("None of %(count)s form answered", "None of %(count)s forms answered", asked)
    said = words.ngettext("%(done)s of %(asked)s form answered", "%(done)s of %(asked)s forms answered", asked)
    return words.sentence(said % {"done": words.count_in_words(done), "asked": words.count_in_words(asked)})


def _last(side: Side, library: Library, zone: str) -> Markup:
    """The scores of the last form, each with the way to its answers."""
    step = side.answered[-1]
    found = [
        Markup('<a href="{}">{} {}</a>').format(last.href, each.in_a_sentence, last.text)
        for each in tracked_instruments([side], library)
        if (last := printed_score_of(step, each.definition, each.definition.scales[0]))
    ]
    if not found or step.response is None:
        return Markup()
    on = words.day(day_of(step.response.finished_at, zone))
    return Markup(words.gettext("Last answer, %(form)s (%(day)s): %(scores)s.")) % {
        "form": step.in_full,
        "day": on,
        "scores": Markup(words.listed([str(each) for each in found])),
    }


def _since_before(side: Side, library: Library) -> str:
    """Of the operation that the last answer speaks of; never across two, and not after an acute fracture."""
    main, found = _main(side, library)
    if main is None:
        return ""
    last, now = found[-1]
    operation = side.operation_of(last)
    if last.operation_if_before is operation:
        return ""
    if is_fracture(operation):
        return words.say(FRACTURE)
    baseline = side.baseline_of(operation, side.answered)
    if baseline is None:
        if side.is_first(operation):
            return words.gettext("There is no answer from before surgery, so no change since then can be told.")
        said = words.gettext("There is no answer from before the %(operation)s, so no change since then can be told.")
        return said % {"operation": words.say(words.KIND[operation.kind])}
    then = next((each for step, each in found if step is baseline), None)
    if then is None:
        return ""
    said = words.gettext("%(scale)s %(since)s: %(before)s to %(now)s.")
    if baseline.timepoint.window_state == "early":
        said = words.gettext("%(scale)s %(since)s: %(before)s to %(now)s, answered early.")
    since = words.say(before_words(side, operation))
    return Markup(said) % {"scale": main.title, "since": since, "before": then.link, "now": now.link}


def _main(side: Side, library: Library) -> tuple[TrackedInstrument | None, list[tuple[Step, PrintedScore]]]:
    """The first of the instruments that are followed and have a score, and its scores in the order of time."""
    for main in tracked_instruments([side], library):
        scores = [(step, printed_score_of(step, main.definition, main.scale)) for step in side.answered]
        found = [(step, each) for step, each in scores if each is not None]
        if found:
            return main, found
    return None, []


def _since_last(side: Side, library: Library) -> str:
    """The last two scores of the main instrument after surgery, if there are two."""
    main, scores = _main(side, library)
    after = [(step, found) for step, found in scores if not step.code.is_before_surgery]
    if main is None or len(after) < 2 or after[-1][0] is not scores[-1][0]:  # the last one is from before a revision
        return ""
    (earlier, before), (step, now) = after[-2:]
    if side.operation_of(earlier) is not side.operation_of(step):
        return ""
    by = now.value - before.value
    if not by:
        same = Markup(words.gettext('The %(scale)s is <a href="%(href)s">as it was at %(when)s</a>.'))
        return same % {"scale": main.in_a_sentence, "href": now.href, "when": before.when}
    amount = points(by, main.scale) if main.scale.decimals else _whole_points(abs(int(by)))
    change = words.gettext("%(amount)s more than at %(when)s")
    if by < 0:
        change = words.gettext("%(amount)s less than at %(when)s")
    linked = words.sentence(change % {"amount": amount, "when": before.when})
    said = Markup('<a href="{}">{}</a>').format(now.href, linked)
    threshold = error_beside(
        main.definition, main.scale.scale, implant=threshold_type(side.operation_of(step).implant_type)
    )
    if threshold is None:
        return said + "."
    judged = words.gettext("%(change)s: more than measurement error (%(error)s).")
    if is_within_error(threshold.threshold, fraction_of(by)):
        judged = words.gettext("%(change)s: within measurement error (%(error)s).")
    error = Markup('<a href="{}">{}</a>').format(threshold.href, threshold.value)
    return Markup(judged) % {"change": said, "error": error}


def _whole_points(number: int) -> str:
    return words.plural("%(count)s point", "%(count)s points", number)


def _listed(steps: list[Step]) -> str:
    """Those after a revision together, so that "after the revision" is said once."""
    first = [step.words for step in steps if not step.after_revision]
    later = [step.words for step in steps if step.after_revision]
    after = words.gettext("%(timepoint)s after the revision") % {"timepoint": words.listed(later)} if later else ""
    said = [words.listed(first), after]
    return "; ".join(part for part in said if part)


def _state(side: Side, zone: str) -> list[Paragraph]:
    """Asked in the patient's own words; no threshold replaces it."""
    said = [
        (day_of(step.response.finished_at, zone), value)
        for step in side.answered
        if step.response is not None and not step.code.is_before_surgery and (value := step.value(*STATE)) is not None
    ]
    if not said:
        return []
    last_on, last = said[-1]
    run, word, other = _run(said), words.yes_or_no(last == 1), words.yes_or_no(last != 1)
    if len(said) == 1:
        once = words.gettext("Asked once after surgery, %(day)s: %(word)s.")
        return [Paragraph(side.side, once % {"day": words.day(last_on), "word": word})]
    if run == len(said):
        each = words.ngettext(
            "The answer was %(word)s each of %(times)s time since %(year)s.",
            "The answer was %(word)s each of %(times)s times since %(year)s.",
            run,
        )
        told = {"word": word, "times": words.count_in_words(run), "year": said[0][0].year}
        return [Paragraph(side.side, each % told)]
    turned = words.gettext("Last answer %(word)s (%(year)s); the one before that was %(other)s.")
    if run > 1:
        turned = words.gettext("Last answer %(word)s, the same since %(year)s; the one before that was %(other)s.")
    return [Paragraph(side.side, turned % {"word": word, "year": said[-run][0].year, "other": other})]


def _run(said: list[tuple[date, float]]) -> int:
    """How many answers at the end are alike."""
    last = said[-1][1]
    return next((number for number, (_on, value) in enumerate(reversed(said)) if value != last), len(said))


def _care(record: Record) -> list[Paragraph]:
    steps = [step for side in record.sides for step in side.answered]
    if not steps:
        return []
    found = []
    texts = {score.text_id for step in steps if step.response for score in step.response.scores}
    if any("/descriptive-" in text for text in texts):
        said = words.gettext("Descriptive text was asked, in our own words, not the owner's wording.")
        found.append(Paragraph("", said))
    for mode, sentence in BY_MODE.items():
        asked = [_named(record, step) for step in steps if step.response and step.response.mode == mode]
        if asked:
            which = words.listed(asked) if len(asked) <= MOST_LISTED else _forms(len(asked))
            found.append(Paragraph("", words.say(sentence) % {"forms": which}))
    others = [step.words for step in steps if step.is_answered_by_another]
    if others:
        said = words.gettext("Answered by someone else: %(forms)s.")
        found.append(Paragraph("", said % {"forms": words.listed(others)}))
    return found


def _forms(number: int) -> str:
    return words.plural("%(count)s form", "%(count)s forms", number)


def _named(record: Record, step: Step) -> str:
    """The form, with its shoulder where the person has two."""
    side = next(side.side for side in record.sides if step in side.steps)
    return step.in_full if len(record.sides) == 1 else f"{step.in_full} ({words.say(labels.SIDE[side])})"
