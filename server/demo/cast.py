"""The people whom a visitor meets today: each kind of thing a nurse, a surgeon or a patient may find, once at least."""

from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo.cast_of_the_record import cast_of_the_record
from server.demo.casting import Casting
from server.demo.people import People
from server.demo.recovery import Recovery
from server.demo.stories import EndStory, EventStory, Fate, PatientStory
from server.models import Patient

FRESH = (
    ("Rosalind", "Wexcombe", "woman", "1961-04-17", "right", "osteoarthritis", "humeral resurfacing"),
    ("Thaddeus", "Ottermole", "man", "1954-09-02", "left", "osteonecrosis", "stemless hemiarthroplasty"),
    ("Henrike", "Silberquell", "woman", "1969-12-30", "left", "rheumatoid arthritis", "anatomic total"),
)
NONE = Fate("none", called=False)
CALLED = Fate("none", called=True)
REFUSED = Fate("none", said="declined")


def cast_of_today(today: date, people: People) -> list[PatientStory]:
    """Who is due and who needs a person to look."""
    make = Casting(today, people)
    cast = [*_to_open(make), *_to_call(make), *_to_look_at(make), *_around_surgery(make), _long_course(make)]
    return [*cast, *cast_of_the_record(make), *make.before]


def fresh_person(session: Session, today: date) -> dict[str, str] | None:
    """Details of somebody who is not enrolled yet, to be typed in; None once everybody of this list is enrolled."""
    taken = {(row.first_name, row.last_name) for row in session.execute(select(Patient.first_name, Patient.last_name))}
    for place, (first, last, sex, born, side, diagnosis, implant) in enumerate(FRESH):
        if (first, last) not in taken:
            surgery_on = today + timedelta(days=12 + place)
            return {
                "first_name": first,
                "last_name": last,
                "birth_on": born,
                "sex": sex,
                "email": f"{first}.{last}@patient.example".lower(),
                "phone": f"+44 7700 9004{17 + place}",
                "side": side,
                "surgery_on": surgery_on.isoformat(),
                "diagnosis": diagnosis,
                "implant": implant,
            }
    return None


def _to_open(make: Casting) -> list[PatientStory]:
    """Links that open something: one side, both sides, short, long, Spanish. One of them said that the side is wrong."""
    both = make.story("left", done_on=make.due(1, 5), fates={"left/year-1": NONE, "right/year-1": NONE})
    both = replace(both, operations=(*both.operations, replace(both.operations[0], side="right")))
    return [
        make.story("right", planned_on=make.days(7), enrolled_on=make.days(-6), fates={"right/baseline": NONE}),
        both,
        make.story("left", done_on=make.days(-40), fates={"left/week-6": NONE}),
        make.story("right", done_on=make.due(2, 0), fates={"right/year-2": NONE}),
        make.story("left", done_on=make.due(1, 10), spanish=True, fates={"left/year-1": NONE}),
        make.story("right", done_on=make.due(5, -5), fates={"right/year-5": NONE}, trouble="wrong_side"),
        make.story("left", done_on=make.due(3, 12), spanish=True, fates={"left/year-3": NONE}),
        make.story("right", done_on=make.due(14, 8), fates={"right/year-14": NONE}),
    ]


def _to_call(make: Casting) -> list[PatientStory]:
    """Every reminder sent and no answer, or no way to remind. One phone says that its owner has died, another asks for a call."""
    return [
        make.story("left", done_on=make.due(10, -20), fates={"left/year-10": CALLED}),
        make.story(
            "right", done_on=make.due(10, -81), fates={"right/year-10": CALLED, "right/year-8": REFUSED}, trouble="died"
        ),
        make.story("right", done_on=make.due(3, -12), email=False, fates={"right/year-3": NONE}),
        make.story("left", done_on=make.due(1, -40), fates={"left/year-1": CALLED}, trouble="call_me"),
    ]


def _to_look_at(make: Casting) -> list[PatientStory]:
    """Answers that a person must look at, and envelopes and links that are stuck."""
    wound = Fate("phone", 2, {"early/2": 1})
    fall = Fate("phone", 6, {"since/9": 1, "since/9a": 1})
    moved = Fate("phone", 5, {"since/6": 1, "since/6a": "+44 7700 900365", "since/6b": "new.address@patient.example"})
    month = make.days(-75).strftime("%Y-%m")
    elsewhere = Fate("phone", 9, {"since/1": 1, "since/1a": month, "since/1b": "Another hospital in Notatown"})
    return [
        make.story("right", done_on=make.days(-38), fates={"right/week-6": wound}, keep_open=True),
        make.story("left", done_on=make.due(1, 7), fates={"left/year-1": fall}, keep_open=True),
        make.story("right", done_on=make.due(4, 7), fates={"right/year-4": moved}, keep_open=True),
        make.story("left", done_on=make.due(6, 2), fates={"left/year-6": elsewhere}, keep_open=True),
        make.story("left", done_on=make.due(2, 4), fates={"left/year-2": NONE}, trouble="altered"),
        make.story("right", done_on=make.due(1, 1), fates={"right/year-1": NONE}, trouble="out_of_range"),
        make.story("right", done_on=make.due(4, 3), fates={"right/year-4": NONE}, trouble="wrong_birth_date"),
        make.story("left", done_on=make.due(2, 9), fates={"left/year-2": NONE}, trouble="locked"),
    ]


def _around_surgery(make: Casting) -> list[PatientStory]:
    """Planned, moved, unknown, cancelled, passed; revised inside a window; asked again; withdrawn."""
    random = Random("around surgery")
    moved = make.story(
        "left", planned_on=make.days(5), enrolled_on=make.days(-24), fates={"left/baseline": Fate("phone", 4)}
    )
    moved = _with_first(moved, moves=((make.days(-3), make.days(26)),))
    cancelled = make.story("right", planned_on=make.days(15), enrolled_on=make.days(-48))
    cancelled = _with_first(cancelled, cancelled_on=make.days(-10))
    inside = make.story("left", done_on=make.due(1, -25), fates={"left/year-1": NONE})
    first = inside.operations[0]
    failing = first.recovery.failing(1.0)
    revision = make.operation(
        random, "left", make.days(-34), planned_on=make.days(-20), done_on=make.days(-20), kind="revision",
        recovery=failing.revised(1.0, random),
    )  # fmt: skip
    inside = replace(
        inside,
        operations=(replace(first, recovery=failing), revision),
        events=(EventStory("left", "glenoid_erosion", make.days(-41), "revision planned"),),
    )
    planned = make.story("right", done_on=make.due(7, 120), fates={"right/baseline": Fate("phone", 2)})
    first = planned.operations[0]
    failing = first.recovery.failing(7.2)
    again = make.operation(
        random, "right", make.days(-4), planned_on=make.days(18), kind="revision", recovery=failing.revised(7.0, random)
    )
    planned = replace(planned, operations=(replace(first, recovery=failing), again))
    asked_again = make.story(
        "left", planned_on=make.days(75), enrolled_on=make.days(-60), fates={"left/baseline": Fate("phone", 2), "left/baseline-2": NONE}
    )  # fmt: skip
    return [
        moved,
        cancelled,
        inside,
        planned,
        asked_again,
        make.story("left", enrolled_on=make.days(-10), spanish=True, fates={"left/baseline": NONE}),
        make.story(
            "right", planned_on=make.days(-3), enrolled_on=make.days(-30), fates={"right/baseline": Fate("phone", 1)}
        ),
        make.story(
            "right", done_on=make.due(2, 200), end=EndStory("withdrew", make.days(-25), make.days(-25), "records")
        ),
    ]


def _long_course(make: Casting) -> PatientStory:
    """Both shoulders over the years: the right one fails slowly and is revised, the left one holds."""
    random = Random("a long course")
    dislocated = Fate("phone", 3, {"since/8": 1})  # said in an answer, made an event by the nurse
    story = make.story("right", done_on=make.due(11, -140), willing=1.25, fates={"right/year-2": dislocated})
    first = story.operations[0]
    failing = Recovery(before=3.2, best=9.8).failing(7.6)
    left_on, revised_on = make.due(8, 60), make.due(3, -70)
    left = make.operation(
        random, "left", left_on - timedelta(days=40), planned_on=left_on, done_on=left_on,
        recovery=Recovery(before=3.8, best=9.6),
    )  # fmt: skip
    revision = make.operation(
        random, "right", revised_on - timedelta(days=30), planned_on=revised_on, done_on=revised_on, kind="revision",
        recovery=Recovery(before=2.6, best=8.4),
    )  # fmt: skip
    return replace(
        story,
        operations=(replace(first, recovery=failing), left, revision),
        events=(EventStory("right", "glenoid_erosion", revised_on - timedelta(days=60), "revision planned"),),
    )


def _with_first(story: PatientStory, **changes: Any) -> PatientStory:
    return replace(story, operations=(replace(story.operations[0], **changes), *story.operations[1:]))
