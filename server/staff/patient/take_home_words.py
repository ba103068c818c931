"""What the page to take home says, in the patient's language and so that a child of twelve can read it. No judgement of the course.

Everything here is read by patients: `FOR_PATIENTS` in tests/words/catalogues.py.
"""

from collections.abc import Mapping, Sequence

from server.schedule.timepoint_code import TimepointCode, Unit
from server.staff.page.request_context import RequestContext
from server.words.language import Words

MOST_LISTED = 6


def shoulder_title(language: Words, side: str) -> str:
    if side == "left":
        return language.gettext("Your left shoulder")
    return language.gettext("Your right shoulder")


def page_title(language: Words, shoulders: int) -> str:
    if shoulders > 1:
        return language.gettext("Your shoulders over the years")
    return language.gettext("Your shoulder over the years")


def lead(language: Words) -> list[str]:
    """What the page is, before the first picture."""
    return [
        language.gettext(
            "This page shows your own answers to our questions, in the order of time. Nothing on it is about other people."
        ),
        language.gettext(
            "It does not say whether a shoulder is doing well or badly. "
            "What your answers mean for you is a good thing to talk about with your surgeon or your doctor."
        ),
    ]


def nothing_yet(language: Words) -> str:
    return language.gettext(
        "We have no answers from you yet, so there is nothing to show. That is all right. "
        "Once you have answered, ask us for this page again."
    )


def time_after(language: Words, code: TimepointCode) -> str:
    """ "6 weeks", "2 years"; nothing before the operation."""
    number = code.number
    if code.is_before_surgery:
        return ""
    if code.unit == Unit.YEAR:
        said = language.ngettext("%(number)s year", "%(number)s years", number)
    elif code.unit == Unit.MONTH:
        said = language.ngettext("%(number)s month", "%(number)s months", number)
    elif code.unit == Unit.WEEK:
        said = language.ngettext("%(number)s week", "%(number)s weeks", number)
    else:
        said = language.ngettext("%(number)s day", "%(number)s days", number)
    return said % {"number": number}


def when(language: Words, code: TimepointCode) -> str:
    """ "before", "2 years after", in a column that is headed by the operation."""
    if code.is_before_surgery:
        return language.pgettext("the operation", "before")
    return language.pgettext("the operation", "%(time)s after") % {"time": time_after(language, code)}


def which(language: Words, codes: Sequence[TimepointCode]) -> str:
    """ "before the operation" and "6 weeks, 4 years and 5 years after the operation"; where they are many, how many."""
    if len(codes) > MOST_LISTED:
        return language.gettext("%(number)s times") % {"number": len(codes)}
    said = [language.gettext("before the operation")] if any(each.is_before_surgery for each in codes) else []
    times = list(dict.fromkeys(time_after(language, each) for each in codes if not each.is_before_surgery))
    if times:
        said.append(language.gettext("%(times)s after the operation") % {"times": language.listed(times)})
    return "; ".join(said)


def of_shoulders(language: Words, found: Mapping[str, Sequence[TimepointCode]], *, named: bool) -> str:
    """The forms of each shoulder, with its name where there are two; empty where there are none."""
    said = {side: which(language, codes) for side, codes in found.items() if codes}
    if not named:
        return "; ".join(said.values())
    return "; ".join(f"{_shoulder(language, side)}, {times}" for side, times in said.items())


def _shoulder(language: Words, side: str) -> str:
    return language.gettext("left shoulder") if side == "left" else language.gettext("right shoulder")


def not_here(
    language: Words, *, unanswered: str, unasked: str, dashes: bool, by_others: bool, recalled: bool
) -> list[str]:
    """What a reader may look for and does not find, and why. `unanswered` and `unasked`: which forms; empty for none."""
    found = []
    if unanswered:
        said = language.gettext(
            "No answer reached us: %(times)s. That is all right. Nobody has to answer, and an answer can get lost on its way."
        )
        found.append(said % {"times": unanswered})
    if unasked:
        said = language.gettext("We did not ask you, or could not reach you: %(times)s. That was not up to you.")
        found.append(said % {"times": unasked})
    if dashes:
        found.append(
            language.gettext(
                "A dash (–) means: we did not ask this then, or a part was left open. A number from only a part could mislead."
            )
        )
    if by_others:
        found.append(
            language.gettext(
                "Where someone else answered for you there is no number. How your shoulder feels only you can say."
            )
        )
    if recalled:
        found.append(
            language.gettext(
                "What you told us only afterwards about the time before the operation is in the table but not in the picture, "
                "because we all remember the past a little differently."
            )
        )
    found.append(
        language.gettext(
            "X-rays, and what was measured at visits, are not on this page. You may ask us about them at any time."
        )
    )
    return found


def whose_words(language: Words, *, descriptive: bool, licensed: bool) -> str:
    """Of which making the questions are."""
    if descriptive and licensed:
        return language.gettext(
            "Some questions were asked word for word as their authors wrote them. The others were asked in plain words "
            "by the makers of the program that we use; they ask about the same things."
        )
    if licensed:
        return language.gettext("The questions were asked word for word as their authors wrote them.")
    return language.gettext(
        "The questions were asked in plain words by the makers of the program that we use. Some follow known sets of "
        "questions by other people; they ask about the same things, but not in those people's words."
    )


def how_to_read(language: Words, *, answers: int, gaps: bool, spacer: bool, states: bool) -> list[str]:
    """The picture, as far as it needs words."""
    found = []
    if answers == 1:
        found.append(language.gettext("There is one answer so far. A line needs two."))
    else:
        found.append(language.gettext("Each mark is one day on which you answered. The line only joins the marks."))
    if gaps:
        found.append(language.gettext("Where it is dotted, there is no answer in between."))
    if states:
        found.append(language.gettext("In the row of yes and no, a full mark is a yes and an empty one a no."))
    if spacer:
        found.append(language.gettext("The grey stretch is the time between two operations that belong together."))
    return found


def caution(language: Words, clinic: RequestContext) -> list[str]:
    """The same as in every letter, after what this page is not."""
    numbers = {
        "phone": clinic.phone,
        "phone_hours": clinic.hours_in(language.language),
        "closed_phone": clinic.closed_phone,
    }
    return [
        language.gettext(
            "Chest pain, trouble breathing, coughing blood, a hand suddenly cold, white or blue, or fever with shaking or confusion: "
            "call %(emergency_number)s now."
        )
        % {"emergency_number": clinic.emergency_number},
        language.gettext(
            "A fresh wound red, hot or leaking, fever, a numb hand, a swollen or painful calf, a shoulder that is suddenly worse, "
            "or new pain or swelling even years later: call us today on %(phone)s (%(phone_hours)s). "
            "When we are closed: %(closed_phone)s."
        )
        % numbers,
        language.gettext(
            "This page is no medical advice. It cannot show whether an implant is sound, and it takes the place of no visit "
            "and no X-ray. Please do not change a treatment because of it without asking us."
        ),
    ]


def last_words(language: Words, phone: str) -> list[str]:
    return [
        language.gettext("Does something here look wrong to you? Call us on %(phone)s, and we look at it together.")
        % {"phone": phone},
        language.gettext("This page is yours and tells about your health. Keep it where you decide who reads it."),
    ]
