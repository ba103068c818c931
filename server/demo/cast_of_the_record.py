"""People in whose record a visitor finds what a register must be able to hold: exchanges in two stages, conversions, operations
elsewhere, somebody who was enrolled twice, a day, a lot and a side that were put right, twins, a daughter who answers."""

from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

from server.demo.casting import Casting
from server.demo.people import address_of
from server.demo.recovery import Recovery
from server.demo.stories import EventStory, Fate, OperationStory, PatientStory
from server.demo.surgery import as_revision, draw_surgery

_SPACER = {
    "role": "spacer", "maker": "Invented Implants", "model": "Invented spacer", "size": None, "lot": "DEMO-S1",
    "fixation": "uncemented", "material": "antibiotic_cement",
}  # fmt: skip
_NO_IMPLANT: dict[str, Any] = {"implant_type": "none", "components": (), "fixation": None, "glenoid_treatment": "none"}


def cast_of_the_record(make: Casting) -> list[PatientStory]:
    known = [_two_stages(make), _conversion(make), _elsewhere(make), _enrolled_twice(make), _lost(make)]
    return [*known, *_twins(make), _spoken_for(make)]


def _lost(make: Casting) -> PatientStory:
    """Entered on the right shoulder, and asked about it until somebody read the operation report. Answered for two years, then never
    again, whoever called."""
    fates = {"right/baseline": Fate("phone", 2), "right/week-6": Fate("telephone", 8)}
    story = make.story("left", done_on=make.due(6, -70), silent_from=make.due(3, -120), fates=fates)
    return replace(story, operations=(replace(story.operations[0], mended=("side",)),))


def _spoken_for(make: Casting) -> PatientStory:
    """Cannot decide any more; the daughter answers on the patient's telephone."""
    fates = {"left/year-7": Fate("telephone", 20), "left/year-8": Fate("telephone", 24)}
    return make.story("left", done_on=make.due(8, -45), fates=fates, spoken_for_from=make.due(2, 60))


def _twins(make: Casting) -> list[PatientStory]:
    """Taken for one person on the day after the second was enrolled; later answers of the one stood with the other, and a death."""
    one = make.story("right", done_on=make.due(4, -20), fates={"right/year-2": Fate("telephone", 45)})
    fates = {
        "left/baseline": Fate("phone", 8),
        "left/year-2": Fate("none", called=False),
        "left/year-3": Fate("phone", 30),
    }
    two = make.story("left", done_on=make.due(4, 15), fates=fates)
    person = replace(
        two.person, last_name=one.person.last_name, birth_on=one.person.birth_on, address=one.person.address
    )
    person = replace(person, email=address_of(person.first_name, person.last_name))
    taken, moved = two.enrolled_on + timedelta(days=1), make.due(2, 30)
    return [
        replace(_with(one, "anatomic_total"), mended=(("taken for one", taken), ("answers of the twin", moved))),
        replace(_with(two, "reverse"), person=person, mended=(("dead", make.due(1, 5)),)),
    ]


def _with(story: PatientStory, implant_type: str) -> PatientStory:
    facts = {
        **draw_surgery(Random(f"{story.seed}, implant"), implant_type),
        "dominant": "yes" if story.operations[0].side == "right" else "no",
    }
    return replace(story, operations=(replace(story.operations[0], facts=facts), *story.operations[1:]))


def _later(
    first: OperationStory, kind: str, on: date, facts: dict[str, Any], recovery: Recovery, **more: Any
) -> OperationStory:
    """Another operation on the same shoulder, entered four weeks before it."""
    given = {"planned_on": on, "done_on": on, **more}
    return OperationStory(first.side, on - timedelta(days=28), recovery, kind, facts=facts, **given)


def _two_stages(make: Casting) -> PatientStory:
    """Infected after two years: the implant comes out, a spacer stays for ten weeks, then a reverse one goes in."""
    random = Random("two stages")
    story = make.story("right", done_on=make.due(5, -90), willing=1.2)
    first, out_on = story.operations[0], make.due(3, -60)
    failing = first.recovery.failing(2.0)
    spacer = as_revision(draw_surgery(random, "reverse"), "infection")
    spacer |= {"stage": "first_of_two", "procedure": "spacer", "implant_type": "spacer", "components": (_SPACER,)}
    definitive = as_revision(draw_surgery(random, "reverse"), "planned_second_stage")
    del definitive["stage"]
    revised = failing.revised(2.0, random)
    infection = {
        "infection_definition": "icm_2018", "infection_certainty": "definite", "cultures_taken": 5,
        "cultures_positive": 3, "organism": ("cutibacterium",), "treatment": "revision",
    }  # fmt: skip
    return replace(
        story,
        operations=(
            replace(first, recovery=failing),
            _later(first, "revision", out_on, spacer, revised),
            _later(first, "second_stage", out_on + timedelta(days=70), definitive, revised),
        ),
        events=(EventStory("right", "infection", out_on - timedelta(days=40), "two stages planned", more=infection),),
    )


def _conversion(make: Casting) -> PatientStory:
    """The head was to be kept, and could not be."""
    random = Random("a conversion")
    story = make.story("left", done_on=make.due(6, 40))
    first, on = story.operations[0], make.due(4, 80)
    necrosis = {"diagnosis": "osteonecrosis", "diagnosis_stage": "stage III"}
    kept = {**first.facts, **_NO_IMPLANT, **necrosis, "procedure": "core_decompression"}
    implant = {**draw_surgery(random, "stemless_hemi"), **necrosis, "reason": "necrosis_progression"}
    low = Recovery(before=3.0, best=6.5)
    converted = replace(low, before=low.ability(1.9), best=10.5)
    return replace(
        story,
        operations=(
            replace(first, recovery=low, facts=kept),
            _later(first, "conversion", on, implant, converted),
        ),
    )


def _elsewhere(make: Casting) -> PatientStory:
    """Released in another hospital, which wrote months later; a revision was advised and declined."""
    story = make.story("right", done_on=make.due(4, 60))
    first, on = replace(story.operations[0], mended=("day",)), make.due(3, -100)
    facts = {
        "procedure": "release", "reason": "stiffness", "place": "elsewhere", "place_name": "Another hospital in Notatown",
        "known_by": "letter", "certainty": "confirmed", "components": (),
    }  # fmt: skip
    release = _later(first, "other", on, facts, first.recovery, planned_on=None)
    advised = EventStory("right", "revision_advised", make.due(1, -30), more={"revision_decision": "declined"})
    return replace(
        story,
        operations=(first, replace(release, entered_on=on + timedelta(days=95))),
        events=(EventStory("right", "stiffness", on - timedelta(days=50), goes_to="reported"), advised),
    )


def _enrolled_twice(make: Casting) -> PatientStory:
    """Came back for the other shoulder, was enrolled anew, and was found to be one person the day after."""
    random = Random("enrolled twice")
    story = make.story("left", done_on=make.due(7, 30))
    first = replace(story.operations[0], mended=("lot",))
    on = make.due(3, 20)
    second = make.operation(random, "right", on - timedelta(days=28), planned_on=on, done_on=on)
    return replace(story, operations=(first, replace(second, duplicate=True)))
