"""Makes the stories of a cast: people who live today, with days counted from today."""

from datetime import date, timedelta
from random import Random
from typing import Any

from server.demo.lifetime import draw_death, until_death
from server.demo.people import People, Person
from server.demo.recovery import Recovery, draw_recovery
from server.demo.stories import OperationStory, PatientStory
from server.demo.surgery import as_revision, draw_surgery
from server.schedule.dates import anniversary


class Casting:
    """Makes stories whose days are counted from today."""

    def __init__(self, today: date, people: People) -> None:
        self.today = today
        self.people = people
        self.number = 0
        self.before = list[PatientStory]()  # whoever was operated at the same time and has died since

    def days(self, from_today: int) -> date:
        return self.today + timedelta(days=from_today)

    def due(self, years: int, in_days: int) -> date:
        """The day of surgery whose k-th anniversary lies so many days from today."""
        return anniversary(self.today, -years) + timedelta(days=in_days)

    def story(
        self,
        side: str,
        *,
        done_on: date | None = None,
        planned_on: date | None = None,
        enrolled_on: date | None = None,
        spanish: bool = False,
        email: bool = True,
        **more: Any,
    ) -> PatientStory:
        """Enrolled 33 days before surgery unless said otherwise; the first operation is on `side`."""
        self.number += 1
        seed = f"cast {self.number}"
        random = Random(seed)
        before = (done_on or planned_on or self.today) - timedelta(days=33)
        entered_on = enrolled_on or before
        alive_on = max(entered_on, done_on or entered_on)
        person = self._alive(seed, alive_on, entered_on, spanish=spanish, email=email)
        first = self.operation(random, side, entered_on, done_on=done_on, planned_on=planned_on or done_on)
        given = {"willing": 0.95, "prefers": "phone" if email else "telephone", **more}
        return PatientStory(person=person, enrolled_on=entered_on, operations=(first,), seed=seed, **given)

    def _alive(self, seed: str, since: date, entered_on: date, *, spanish: bool, email: bool) -> Person:
        """Somebody who lives today. Who was drawn first and has died is told too, or nobody of the cast would ever have died."""
        while True:
            random = Random(f"{seed}, person {len(self.before)}")
            person = self.people.invent(random, age_on=entered_on, spanish=spanish, email=email)
            died_on = draw_death(random, person, since)
            if died_on >= self.today:
                return person
            side = random.choice(("left", "right"))
            first = self.operation(random, side, entered_on, done_on=since, planned_on=since)
            prefers = "phone" if email else "telephone"
            story = PatientStory(person, entered_on, (first,), f"{seed}, died {len(self.before)}", prefers=prefers)
            self.before.append(until_death(story, died_on, random))

    def operation(
        self,
        random: Random,
        side: str,
        entered_on: date,
        *,
        done_on: date | None = None,
        planned_on: date | None = None,
        **more: Any,
    ) -> OperationStory:
        """An operation in plausible words; as a revision it has a reason in place of a diagnosis."""
        facts = draw_surgery(random, None if more else "resurfacing_hemi")
        recovery: Recovery = more.pop("recovery", None) or draw_recovery(random, facts["implant_type"])
        if more.get("kind") == "revision":
            facts = as_revision(facts, "glenoid_erosion")
        facts["dominant"] = "yes" if side == "right" else "no"
        return OperationStory(side, entered_on, recovery, planned_on=planned_on, done_on=done_on, facts=facts, **more)
