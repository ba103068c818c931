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

MOST_LISTED = 4


@dataclass(frozen=True)
class Paragraph:
    """`text` is escaped where it is shown; a Markup holds links."""

    lead: str
    text: str


def summarise(record: Record, library: Library, *, zone: str) -> list[tuple[str, list[Paragraph]]]:
    """Headings with their paragraphs; a heading without anything to say is left out."""
    sections = [
        ("What it says", [_shoulder(side, library, zone) for side in record.sides]),
        ("Acceptable state", [each for side in record.sides for each in _state(side, zone)]),
        ("Read with care", _care(record)),
    ]
    return [(heading, paragraphs) for heading, paragraphs in sections if paragraphs]


def descriptive_note(record: Record, library: Library) -> str:
    """Under a figure: which of its scores come from descriptive texts; empty when none does."""
    steps = [step for side in record.sides for step in side.answered]
    scores = [score for step in steps if step.response for score in step.response.scores]
    found = {f"{each.instrument}@{each.instrument_version}" for each in scores if "/descriptive-" in each.text_id}
    titles = sorted(library.instrument(spec).title for spec in found)
    return f"Asked in descriptive texts, not the owners' words: {'; '.join(titles)}." if titles else ""


def _shoulder(side: Side, library: Library, zone: str) -> Paragraph:
    sentences = [_answered(side)]
    if side.answered:
        sentences += [_last(side, library, zone), _since_before(side, library), _since_last(side, library)]
    return Paragraph(f"{side.side.capitalize()}.", Markup(" ").join(sentence for sentence in sentences if sentence))


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
        return "Nothing is answered yet." if not waiting else "The first form is open; nothing is answered yet."
    asked = words.counted(len(over) - len(unasked), "form")
    text = f"{words.sentence(words.count_in_words(len(done))) if done else 'None'} of {asked} answered"
    if len(over) == len(unasked):
        text = "Nothing is answered yet"
    text += f"; missed: {_listed(missed)}" if missed else ""
    text += f"; could not be asked, as a text might not be sent or was missing: {_listed(withheld)}" if withheld else ""
    text += (
        f"; asked about the other shoulder, before the side was put right: {_listed(other_side)}" if other_side else ""
    )
    text += f"; never asked, as nobody could be reached: {_listed(not_reached)}" if not_reached else ""
    text += "."
    if waiting:
        text += f" Open now: {_listed(waiting)}."
    return text


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
    return Markup("Last answer, {} ({}): {}.").format(
        step.in_full, on, Markup(words.listed([str(each) for each in found]))
    )


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
        return FRACTURE
    since = before_words(side, operation)
    baseline = side.baseline_of(operation, side.answered)
    if baseline is None:
        what = since.removeprefix("since before ")
        return f"There is no answer from before {what}, so no change since then can be told."
    then = next((each for step, each in found if step is baseline), None)
    if then is None:
        return ""
    early = ", answered early" if baseline.timepoint.window_state == "early" else ""
    return Markup("{} {}: {} to {}{}.").format(main.title, since, then.link, now.link, early)


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
        same = Markup('The {} is <a href="{}">as it was at {}</a>.')
        return same.format(main.in_a_sentence, now.href, before.when)
    amount = points(by, main.scale) if main.scale.decimals else words.counted(abs(int(by)), "point")
    change = f"{amount} {'more' if by > 0 else 'less'} than at {before.when}"
    said = Markup('<a href="{}">{}</a>').format(now.href, words.sentence(change))
    threshold = error_beside(
        main.definition, main.scale.scale, implant=threshold_type(side.operation_of(step).implant_type)
    )
    if threshold is None:
        return said + "."
    within = "within" if is_within_error(threshold.threshold, fraction_of(by)) else "more than"
    error = Markup('measurement error (<a href="{}">{}</a>)').format(threshold.href, threshold.value)
    return Markup("{}: {} {}.").format(said, within, error)


def _listed(steps: list[Step]) -> str:
    """Those after a revision together, so that "after the revision" is said once."""
    first = [step.words for step in steps if not step.after_revision]
    later = [step.words for step in steps if step.after_revision]
    said = [words.listed(first), f"{words.listed(later)} after the revision" if later else ""]
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
    lead = f"{side.side.capitalize()}."
    last_on, last = said[-1]
    run = _run(said)
    word = "yes" if last == 1 else "no"
    if len(said) == 1:
        return [Paragraph(lead, f"Asked once after surgery, {words.day(last_on)}: {word}.")]
    if run == len(said):
        return [Paragraph(lead, f"The answer was {word} each of {words.counted(run, 'time')} since {said[0][0].year}.")]
    since = f", the same since {said[-run][0].year}" if run > 1 else f" ({last_on.year})"
    return [Paragraph(lead, f"Last answer {word}{since}; the one before that was {'no' if last == 1 else 'yes'}.")]


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
        found.append(Paragraph("", "Descriptive text was asked, in our own words, not the owner's wording."))
    for mode, why in (
        ("telephone", "a voice on the telephone tends to get better answers"),
        ("paper", "typed in by staff"),
    ):
        asked = [_named(record, step) for step in steps if step.response and step.response.mode == mode]
        if asked:
            which = words.listed(asked) if len(asked) <= MOST_LISTED else words.counted(len(asked), "form")
            found.append(Paragraph("", f"By {words.say(labels.MODE[mode])}: {which}; {why}."))
    others = [step.words for step in steps if step.response and step.response.answered_by == "someone_else"]
    if others:
        found.append(Paragraph("", f"Answered by someone else: {words.listed(others)}."))
    return found


def _named(record: Record, step: Step) -> str:
    """The form, with its shoulder where the person has two."""
    side = next(side.side for side in record.sides if step in side.steps)
    return step.in_full if len(record.sides) == 1 else f"{step.in_full} ({side})"
