"""The methods text of a series: plain sentences in which every number is counted from the record."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import version as version_of

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import load_library
from scoring.score import SCORING_VERSION
from server.models import FollowUp, SeriesVersion
from server.models.series import SET_BEFORE_LOOKING
from server.outcomes.arithmetic.double_sampling import FEWEST
from server.outcomes.arithmetic.weighted import FEWEST_SILENT, SMALLEST_EFFECTIVE_N
from server.outcomes.life_tables import life_table_in_force
from server.outcomes.series.endpoints import endpoint_in
from server.outcomes.series.methods import Asking, MethodsFacts, Window, facts_of
from server.outcomes.series.silence_known import KNOWN_BEFORE
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.staff.series.asked import Asked
from server.staff.series.course_model import MIXED, YES
from server.staff.series.flow_words import LOSSES
from server.staff.series.part import people_words, shoulders_words, texts_words, whom
from server.staff.series.saved_head import SavedHead
from server.staff.series.sentence_words import code_words
from server.staff.series.silence_words import PREDICTORS
from server.staff.series.strip_words import rates_words
from server.staff.series.survival_words import endpoint_name
from server.words.phrase import Phrase, phrase

TO_BE_FILLED = phrase(
    "Financial interests: STILL TO BE FILLED IN by the authors; without them this text is not complete."
)
_TEXTS: Mapping[str, Phrase] = {
    "descriptive": phrase("descriptive text, not the owners’ words"),
    "licensed": phrase("the owners’ words"),
}


@dataclass(frozen=True)
class Section:
    """`name`: a word for it, by which the table of items refers to it."""

    name: str
    heading: str
    text: str


def methods_sections(session: Session, asked: Asked, head: SavedHead | None) -> list[Section]:
    """In the order of a report."""
    facts = facts_of(asked.followings, asked.flow)
    parts: tuple[tuple[str, str, Iterator[str]], ...] = (
        ("design", words.gettext("Design and setting"), _design(asked, facts)),
        ("participants", words.gettext("Participants"), _participants(asked, facts)),
        ("instruments", words.gettext("Instruments"), _instruments(asked, facts)),
        ("timing", words.gettext("When they were asked"), _timing(session, asked, facts)),
        ("modes", words.gettext("How they answered"), _modes(facts)),
        ("response", words.gettext("Who answered"), _response(asked, facts)),
        ("estimands", words.gettext("What is estimated"), _estimands(asked, facts)),
        ("statistics", words.gettext("Statistical methods"), _statistics(session, asked)),
        ("software", words.gettext("Data and software"), _software(asked)),
        ("declaration", words.gettext("How this series came to be"), _declaration(session, head)),
    )
    return [Section(name, heading, " ".join(sentences)) for name, heading, sentences in parts]


def share(part: int, whole: int) -> str:
    return f"{part} / {whole} ({(200 * part + whole) // (2 * whole)} %)" if whole else f"{part} / {whole}"


def _design(asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    clinic = {"clinic": request_context().clinic_name}
    if _is_consecutive(facts):
        yield words.gettext("A cohort of consecutive shoulder operations at %(clinic)s, by its operation log.") % clinic
        yield words.ngettext(
            "The log has operations in every year from the first to the last that is meant, %(count)s of somebody not enrolled; whether "
            "one was never written into it, the program cannot know.",
            "The log has operations in every year from the first to the last that is meant, %(count)s of people not enrolled; whether "
            "one was never written into it, the program cannot know.",
            facts.log_not_enrolled,
        ) % {"count": facts.log_not_enrolled}
    else:
        yield words.gettext("A cohort of the shoulder operations in the operation log of %(clinic)s.") % clinic
        yield from _not_consecutive(facts)
    yield words.ngettext(
        "The log holds %(log)s operation of %(people)s done by %(day)s, enrolled or not.",
        "The log holds %(log)s operations of %(people)s done by %(day)s, enrolled or not.",
        facts.log,
    ) % {
        "log": facts.log, "people": people_words(facts.log_people), "day": words.day(asked.record.as_of),
    }  # fmt: skip


def _is_consecutive(facts: MethodsFacts) -> bool:
    """As far as a log can show it: whoever is not enrolled is written down too, and no year is left out."""
    return facts.meant > 0 and facts.log_not_enrolled > 0 and not facts.years_without


def _not_consecutive(facts: MethodsFacts) -> Iterator[str]:
    """What in the log speaks against its operations being consecutive."""
    if facts.meant and not facts.log_not_enrolled:
        yield words.gettext(
            "In the years of those meant it holds nobody who is not enrolled, so that it does not show whether the "
            "operations are consecutive."
        )
    if facts.years_without:
        yield words.gettext("It has no operations in %(years)s, so that they are not shown to be consecutive.") % {
            "years": words.listed([str(year) for year in facts.years_without])
        }


def _participants(asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    if facts.first is None:
        yield words.gettext("The sentence means nobody in the log.")
        return
    yield words.gettext("Meant are %(meant)s, of %(people)s, operated on from %(first)s to %(last)s.") % {
        "meant": shoulders_words(facts.meant), "people": people_words(facts.meant_people),
        "first": words.day(facts.first), "last": words.day(facts.last),
    }  # fmt: skip
    yield whom(asked.sentence) or words.gettext("Every first operation of the log.")
    yield words.gettext("Of them %(share)s take part (enrolled, with consent to research), of %(people)s.") % {
        "share": share(facts.taking_part, facts.meant), "people": people_words(facts.taking_part_people),
    }  # fmt: skip
    yield words.gettext("%(answered)s, of %(people)s, answered themselves at least once after surgery.") % {
        "answered": shoulders_words(facts.answered), "people": people_words(facts.answered_people),
    }  # fmt: skip
    lost = [f"{count} {_loss(name)}" for name, count in facts.losses.items()]
    if lost:
        yield words.gettext("Lost from the log to the answers, each once: %(losses)s.") % {"losses": "; ".join(lost)}
    yield words.gettext(
        "Where the log does not tell of somebody who does not take part what the sentence asks, they count as meant."
    )


def _loss(name: str) -> str:
    step, _dot, reason = name.partition(".")
    return words.say(LOSSES[step].get(reason, reason))


def _instruments(asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    if not facts.instruments:
        yield words.gettext("Nobody has answered an instrument with a score yet.")
        return
    yield words.gettext(
        "Instruments, each with its version and how many answers have a score of it: %(instruments)s."
    ) % {"instruments": "; ".join(_asking(each) for each in facts.instruments)}
    yield texts_words(asked)
    yield words.gettext(
        "Scores follow the published rule of each version, and scores of different versions of an instrument are never pooled. The yes or "
        "no to whether the state is acceptable is one question in every version, and is counted over them."
    )


def _asking(asking: Asking) -> str:
    definition = load_library().definitions[asking.spec]
    kinds = words.listed([f"{words.say(_TEXTS[kind])} ({count})" for kind, count in asking.texts.items()])
    return words.gettext("%(title)s, version %(version)s: %(answers)s, in %(texts)s") % {
        "title": definition.title, "version": definition.version, "answers": asking.answers, "texts": kinds,
    }  # fmt: skip


def _timing(session: Session, asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    plans = _plans(session, asked)
    if plans:
        yield words.gettext("Follow-up plan: %(plans)s.") % {"plans": words.listed(plans)}
    if facts.windows:
        yield words.gettext("Windows, in days after surgery: %(windows)s.") % {
            "windows": "; ".join(_window(each) for each in facts.windows)
        }
    yield words.gettext("The time of a timepoint is counted from surgery and never from the answer before.")


def _window(window: Window) -> str:
    return f"{words.timepoint(window.code)} {window.first_day}–{window.last_day}"


def _plans(session: Session, asked: Asked) -> list[str]:
    """The plans of the follow-ups of those who take part, with how many shoulders go by each."""
    shoulders = {row.operation_id for row in asked.flow.rows_at("taking_part")}
    found: dict[str, set[int]] = {}
    query = select(FollowUp.operation_id, FollowUp.plan_id, FollowUp.plan_version)
    for row in session.execute(query):
        if row.operation_id in shoulders:
            found.setdefault(f"{row.plan_id}@{row.plan_version}", set()).add(row.operation_id)
    return [f"{plan} ({len(of)})" for plan, of in sorted(found.items())]


def _modes(facts: MethodsFacts) -> Iterator[str]:
    yield words.gettext("Answers of the patients themselves: %(before)s before surgery and %(after)s after it.") % {
        "before": facts.before, "after": facts.after,
    }  # fmt: skip
    if facts.after:
        yield words.gettext(
            "At whole years of those after it: %(years)s. A figure over the years shows of these the ones whose window has closed and "
            "that were given before any revision, so that its counts are smaller."
        ) % {"years": facts.after_years}
    if facts.modes:
        yield words.gettext("Ways of answering: %(modes)s.") % {
            "modes": "; ".join(f"{code_words('mode', mode)} {count}" for mode, count in facts.modes.items())
        }
    outside, recalled, other = facts.outside_window, facts.recalled, facts.by_other
    if outside:
        yield words.ngettext(
            "%(count)s answer after surgery came before or after its window and counts for it.",
            "%(count)s answers after surgery came before or after their window and count for it.",
            outside,
        ) % {"count": outside}
    if recalled:
        yield words.ngettext(
            "%(count)s was recalled after surgery of the time before it and stands apart.",
            "%(count)s were recalled after surgery of the time before it and stand apart.",
            recalled,
        ) % {"count": recalled}
    if other:
        yield words.ngettext(
            "%(count)s form was answered by somebody else alone: it tells events and gives no score.",
            "%(count)s forms were answered by somebody else alone: they tell events and give no score.",
            other,
        ) % {"count": other}


def _response(asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    yield rates_words(asked.strip, asked.sentence)
    yield words.gettext(
        "Only windows that had closed by the as-of date are in a denominator; people who do not take part count as not asked, and those of "
        "whom the log tells that they died before being asked as dead."
    )
    if facts.lots_cast:
        yield words.gettext(
            "Lots cast for silent timepoints: %(cast)s, of which %(drawn)s drawn to be pursued to the end; %(answered)s of these answered."
        ) % {"cast": facts.lots_cast, "drawn": facts.drawn, "answered": facts.drawn_answered}
    else:
        yield words.gettext(
            "No random quarter of the silent was drawn, so that all results assume that the silent are like the answering."
        )


def _estimands(asked: Asked, facts: MethodsFacts) -> Iterator[str]:
    yield words.gettext(
        "(a) The state at year k among those alive at it: a revised shoulder counts as not acceptable and is in no mean; the dead are out "
        "of the population and not missing. (b) The course while alive and unrevised: nothing is told past death or revision."
    )
    yield words.gettext("By the as-of date: %(revised)s revised, %(died)s dead.") % {
        "revised": shoulders_words(facts.revised), "died": people_words(facts.died),
    }  # fmt: skip
    if facts.revised_without_implant:
        yield words.ngettext(
            "%(count)s of these shoulders had no implant from the first operation: implant survival does not count it.",
            "%(count)s of these shoulders had no implant from the first operation: implant survival does not count them.",
            facts.revised_without_implant,
        ) % {"count": facts.revised_without_implant}
    yield words.gettext(
        "Early and late answers are in the main analysis. An operation on the other shoulder changes nothing; limits are by patient, since "
        "people can take part with both shoulders (here %(both)s). After an acute fracture there is no change from before surgery "
        "(%(fractures)s)."
    ) % {"both": people_words(facts.both), "fractures": shoulders_words(facts.fractures)}
    yield (
        words.gettext(
            "Only answers given as the sentence wants count, and whoever answered otherwise stands with the silent."
        )
        if asked.sentence.picks_answers
        else words.gettext("Answers count in whatever way they were given, also by telephone.")
    )
    yield words.gettext("Nobody was randomised; no difference is an effect.")


def _statistics(session: Session, asked: Asked) -> Iterator[str]:
    endpoint, _unread = endpoint_in(asked.options)
    yield words.gettext(
        "Means: limits by patient (cluster-robust, independence working model, Student’s t). Effect size: mean change over the standard "
        "deviation before; response mean: over that of the change. Shares in an acceptable state: a product of unrevised and acceptable, "
        "with Wilson’s limits on the effective number of patients. Limits are 95 %."
    )
    yield words.gettext(
        "Implant survival, endpoint %(endpoint)s: Kaplan–Meier, and cumulative incidence with death competing, both from the last known "
        "state of the implant, with late entry; log-log limits, by infinitesimal jackknife over patients where anybody counts twice, none "
        "under 20 patients."
    ) % {"endpoint": endpoint_name(endpoint)}
    yield words.gettext(
        "Groups: the difference in change and the one adjusted for the score before (analysis of covariance), limits by patient; the "
        "difference in incidence at a stated year from ten events in each group on. No log-rank test, since shoulders of one patient are "
        "no strangers. Curves are thin under 40 and end under 10; the course ends under 20."
    )
    yield from _of_waits_silence_and_preference()
    if asked.options.get(MIXED) == YES:
        yield words.gettext(
            "Beside the means a linear mixed model is given, as if nobody had died or been revised; the covariance used is named with it."
        )
    table = life_table_in_force(session)
    if table is None:
        yield words.gettext("No life table is installed, so no expected deaths are told.")
    else:
        yield words.gettext(
            "Deaths are compared with those expected by the life table %(source)s, with exact Poisson limits, elective operations and "
            "acute fractures apart."
        ) % {"source": table.source}


def _of_waits_silence_and_preference() -> Iterator[str]:
    yield words.gettext(
        "Weeks to a return or a lasting yes, of which only looks tell: the self-consistent estimator of an event between two looks "
        "(Turnbull), with revision and death as competing causes."
    )
    yield words.gettext(
        "Silence: those who answered as they are; from %(silent)s silent and an effective n of %(effective)s on, weighted by one over the "
        "chance to answer (logistic regression; predictors in this order, one for each ten of the smaller of answered and silent: "
        "%(predictors)s; weights cut at the first and the last percentile; bootstrap limits by patient); where lots were cast, double "
        "sampling (Hansen and Hurwitz; Horvitz and Thompson), from %(fewest)s answers of the drawn on; and the tipping point, at which the "
        "silent would change the result."
    ) % {
        "silent": FEWEST_SILENT,
        "effective": SMALLEST_EFFECTIVE_N,
        "predictors": words.listed([words.say(PREDICTORS[name]) for name in KNOWN_BEFORE]),
        "fewest": FEWEST,
    }
    yield words.gettext(
        "Preference of people with a shoulder of each type: the exact two-sided binomial test against one half and limits of Clopper and "
        "Pearson, from ten with a preference on; the own rating within the person by the paired mean difference, limits by Student’s t."
    )


def _software(asked: Asked) -> Iterator[str]:
    yield words.gettext(
        "Yearmark %(version)s, scoring version %(scoring)s. Data as of %(day)s; SHA-256 of operations, forms, scores and what was last "
        "known: %(digest)s. What was told of weeks and of the preferred shoulder, and the life table, are not in it."
    ) % {
        "version": version_of("yearmark"), "scoring": SCORING_VERSION, "day": words.day(asked.record.as_of),
        "digest": asked.followings.digest,
    }  # fmt: skip


def _declaration(session: Session, head: SavedHead | None) -> Iterator[str]:
    if head is None or head.changed:
        yield words.gettext(
            "Explored: these words and choices are not saved, and were chosen with results in sight or may have been."
        )
        yield words.say(TO_BE_FILLED) if head is None or not head.interests else _interests(head)
        return
    version = session.get_one(SeriesVersion, (head.series_id, head.number))
    named = {"name": head.name, "day": words.day(head.saved_on), "number": head.number, "versions": head.versions}
    if head.declared == SET_BEFORE_LOOKING:
        yield words.gettext("“%(name)s”, set before looking on %(day)s; version %(number)s of %(versions)s.") % named
    else:
        yield words.gettext("“%(name)s”, explored, saved on %(day)s; version %(number)s of %(versions)s.") % named
    if head.note:
        yield words.gettext("Note: %(note)s.") % {"note": head.note.rstrip(".")}
    yield words.ngettext(
        "By then the results of %(count)s other sentence had been opened here.",
        "By then the results of %(count)s other sentences had been opened here.",
        version.sentences_before,
    ) % {"count": version.sentences_before}
    yield _interests(head) if head.interests else words.say(TO_BE_FILLED)


def _interests(head: SavedHead) -> str:
    return words.gettext("Financial interests: %(interests)s.") % {"interests": head.interests.rstrip(".")}
