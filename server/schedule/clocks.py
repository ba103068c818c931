"""Two follow-ups of one shoulder side by side: which form is sent, and which answer counts for both.

A revision ends nothing: the follow-up of the first operation goes on beside the revision's own, each counting from its surgery date.

Rules:

1. No shoulder gets forms of two follow-ups within 90 days. What was sent or answered stands; of what is still to be sent the follow-up
   of the latest operation goes first, and within one follow-up the earlier form. Whatever would come within 90 days of such a form of
   another follow-up is carried by it: it is not sent. What was sent before a surgery day was put right was sent, also when it lies
   outside its window since.
2. A form that is carried is put off, not given up: once 90 days have passed it is sent, if its window is still open and nothing else
   is near. When its window closes before, nobody was asked, and it keeps what carried it.
3. The forms of one follow-up keep the distance that its plan gives them.
4. An answer to a form of one follow-up counts for another one's timepoint too when it was finished in that one's window and that one
   has no answer of its own; of several the nearest to the due day. Before-surgery answers given afterwards count for nothing else.
5. For the timepoint before an operation an answer counts that was finished in the 90 days before surgery, also if it came before the
   operation was planned.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

FORMS_APART = timedelta(days=90)


@dataclass(frozen=True)
class Form:
    """One timepoint of one of the follow-ups. `clock` orders these, the latest operation's last.

    `counts_from` to `counts_to`: the days on which an answer counts for it. `sent_on`: the first day on which it reached the patient or
    was answered; `sent_outside_on`: the last day on which it reached the patient outside the window that it has now, which was moved since;
    `answered_on`: its own answer. `expected_until`: the day from which nothing is expected, None while there is none.
    `may_be_sent` is False for what had closed before the follow-up began, and for an answer that can count for nothing else
    `shares` is. `carried_by`: what carried it so far.
    """

    key: int
    clock: int
    invites_on: date
    due_on: date
    closes_on: date | None
    counts_from: date
    counts_to: date | None
    sent_on: date | None = None
    sent_outside_on: date | None = None
    answered_on: date | None = None
    expected_until: date | None = None
    may_be_sent: bool = True
    shares: bool = True
    carried_by: int | None = None


def carriers(forms: Iterable[Form], answered: Iterable[int], today: date) -> dict[int, int]:
    """By the form that is not to be sent, the one that is sent or was sent in its place: rules 1 to 3.

    `answered`: forms for which an answer to another one counts. They are sent no more, and need no carrier.
    """
    forms, settled = list(forms), set(answered)
    known = {form.key for form in forms}
    sent = [(form, day) for form in forms for day in (form.sent_on, form.sent_outside_on) if day is not None]
    carried: dict[int, int] = {}
    for form in sorted(forms, key=lambda each: (-each.clock, each.invites_on, each.key)):
        if form.sent_on is not None or form.key in settled:
            continue
        if form.closes_on is not None and form.closes_on < today:
            if form.carried_by in known:
                carried[form.key] = form.carried_by
            continue
        day = max(form.invites_on, today)
        if not form.may_be_sent or (form.expected_until is not None and form.expected_until <= day):
            continue
        carrier = _nearest(form, day, sent)
        if carrier is None:
            sent.append((form, day))
        else:
            carried[form.key] = carrier.key
    return carried


def _nearest(form: Form, day: date, sent: Sequence[tuple[Form, date]]) -> Form | None:
    """Of what is sent of other follow-ups within 90 days of `day`, the nearest; of two at one distance the earlier."""
    near = [
        (abs(on - day), on, other.key, other)
        for other, on in sent
        if other.clock != form.clock and abs(on - day) < FORMS_APART
    ]
    return min(near, default=(None, None, None, None))[3]


def shared_answers(forms: Iterable[Form]) -> dict[int, int]:
    """By the timepoint without an answer of its own, the one whose answer counts for it too: rules 4 and 5."""
    forms = list(forms)
    given = [(form, form.answered_on) for form in forms if form.answered_on is not None and form.shares]
    found: dict[int, int] = {}
    for form in forms:
        if form.answered_on is not None:
            continue
        near = [
            (abs(on - form.due_on), on, other.key)
            for other, on in given
            if other.clock != form.clock and _counts(form, on)
        ]
        if near:
            found[form.key] = min(near)[2]
    return found


def _counts(form: Form, on: date) -> bool:
    expected = form.expected_until is None or on <= form.expected_until
    return expected and form.counts_from <= on and (form.counts_to is None or on <= form.counts_to)
