"""What a patient's record says, in plain sentences made from the data. A threshold is named only with whom it was found in."""

from dataclasses import dataclass
from datetime import date

from scoring.definition import Threshold
from scoring.library import Library
from server.models import Operation
from server.schedule.status import WAITING, Status
from server.staff import words
from server.staff.course import SCALES, STATE, day_of
from server.staff.record import ANSWERED, Record, Side, Step

MOST_LISTED = 4


@dataclass(frozen=True)
class Paragraph:
    lead: str
    text: str


def say(record: Record, library: Library, *, zone: str) -> list[tuple[str, list[Paragraph]]]:
    """Headings with their paragraphs; a heading without anything to say is left out."""
    sections = [
        ("What it says", [_shoulder(side, library, zone) for side in record.sides]),
        ("Measurement error", _measurement_error(record, library)),
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
        sentences += [_last(side.answered[-1], zone), _since_before(side), _since_last(side, library)]
    return Paragraph(f"{side.side.capitalize()}.", " ".join(sentence for sentence in sentences if sentence))


def _answered(side: Side) -> str:
    over, waiting = side.over, [step for step in side.steps if step.status in WAITING]
    done = [step for step in over if step.status in ANSWERED]
    missed = [step for step in over if step.status == Status.MISSED]
    if not over:
        return "Nothing is answered yet." if not waiting else "The first form is open; nothing is answered yet."
    text = f"{words.sentence(words.count_in_words(len(done)))} of {words.counted(len(over), 'form')} answered"
    text += f"; missed: {_listed(missed)}." if missed else "."
    if waiting:
        text += f" Open now: {_listed(waiting)}."
    return text


def _last(step: Step, zone: str) -> str:
    values = [
        f"{title.lower()} {value:g}{' %' if instrument == 'sane' else ''}"
        for instrument, scale, title in SCALES
        if (value := step.value(instrument, scale)) is not None
    ]
    if not values or step.response is None:
        return ""
    return (
        f"Last answer, {_words(step)} ({words.day(day_of(step.response.finished_at, zone))}): {words.listed(values)}."
    )


def _before(side: Side) -> Step | None:
    """The last form answered before the first operation; one recalled afterwards is no such thing, nor one before a revision."""
    first = next(iter(_standing(side)), None)
    found = [
        step
        for step in side.answered
        if step.timepoint.code == "baseline"
        and step.timepoint.window_state != "recalled"
        and step.timepoint.follow_up.operation is first
    ]
    return found[-1] if found else None


def _standing(side: Side) -> list[Operation]:
    """The shoulder's operations, done or planned, without those that were cancelled."""
    return [each for each in side.operations if each.cancelled_on is None]


def _since_before(side: Side) -> str:
    before = _before(side)
    last = next((step for step in reversed(side.answered) if step.value("sst", "total") is not None), None)
    before_what = "the first operation" if len(_standing(side)) > 1 else "surgery"
    if before is None:
        return f"There is no answer from before {before_what}, so no change since then can be told."
    then = before.value("sst", "total")
    if last is None or last is before or then is None:
        return ""
    now = last.value("sst", "total") or 0
    early = ", answered early" if before.timepoint.window_state == "early" else ""
    return f"Shoulder test since before {before_what}: {then:g} to {now:g}{early}."


def _last_two(side: Side) -> list[tuple[Step, float]]:
    """The last two shoulder tests after surgery, if there are two."""
    scored = [(step, value) for step in side.answered if (value := step.value("sst", "total")) is not None]
    after = [(step, value) for step, value in scored if step.timepoint.code != "baseline"]
    return after[-2:] if len(after) > 1 else []


def _since_last(side: Side, library: Library) -> str:
    two = _last_two(side)
    if not two:
        return ""
    (before, then), (_last_step, now) = two
    if now == then:
        return f"The shoulder test is as it was at {_words(before)}."
    change = (
        f"{words.counted(abs(int(now - then)), 'point')} {'more' if now > then else 'less'} than at {_words(before)}"
    )
    threshold = _detectable(library)
    if threshold is None:
        return words.sentence(f"{change}.")
    within = "within" if abs(now - then) < threshold.value else "more than"
    return words.sentence(f"{change}: {within} measurement error ({threshold.value:g}).")


def _measurement_error(record: Record, library: Library) -> list[Paragraph]:
    """Once for both shoulders, and only where a sentence above uses it."""
    threshold = _detectable(library)
    used = any(two[0][1] != two[1][1] for side in record.sides if (two := _last_two(side)))
    if threshold is None or not used:
        return []
    hemi = {True: "hemiarthroplasty among them", False: "no hemiarthroplasty", None: "hemiarthroplasty: not stated"}
    n = f", n = {threshold.n}" if threshold.n else ""
    whom = f"{threshold.population}{n}; {hemi[threshold.holds_hemiarthroplasty]}"
    text = f"{threshold.value:g} points on the shoulder test, found in: {whom}. {threshold.citation}."
    return [Paragraph("", f"{text} It speaks of one person's change, never of a difference of groups.")]


def _detectable(library: Library) -> Threshold | None:
    thresholds = library.instrument("sst").thresholds
    return next((each for each in thresholds if each.kind == "detectable_change" and each.scale == "total"), None)


def _listed(steps: list[Step]) -> str:
    """Those after a revision together, so that "after the revision" is said once."""
    first = [step.words for step in steps if not step.after_revision]
    later = [step.words for step in steps if step.after_revision]
    said = [words.listed(first), f"{words.listed(later)} after the revision" if later else ""]
    return "; ".join(part for part in said if part)


def _words(step: Step) -> str:
    """The timepoint, said from which operation where there was a revision."""
    return f"{step.words} after the revision" if step.after_revision else step.words


def _state(side: Side, zone: str) -> list[Paragraph]:
    """Asked in the patient's own words; no threshold stands in for it."""
    said = [
        (day_of(step.response.finished_at, zone), value)
        for step in side.answered
        if step.response is not None and step.timepoint.code != "baseline" and (value := step.value(*STATE)) is not None
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
    return [
        Paragraph(
            lead,
            f"Last answer {word}, the same since {said[-run][0].year}; before that it was {'no' if last == 1 else 'yes'}.",
        )
    ]


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
            found.append(Paragraph("", f"By {words.MODE[mode]}: {which}; {why}."))
    others = [step.words for step in steps if step.response and step.response.answered_by == "someone_else"]
    if others:
        found.append(Paragraph("", f"Answered by someone else: {words.listed(others)}."))
    return found


def _named(record: Record, step: Step) -> str:
    """The form, with its shoulder where the person has two."""
    side = next(side.side for side in record.sides if step in side.steps)
    return _words(step) if len(record.sides) == 1 else f"{_words(step)} ({side})"
