"""A plain model of the record: who was operated on, where an answer stands, what the flow must count.

It shares no rule with the program. Windows are those of the standard plan, written down once more. Everybody here is invented.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

AHEAD = 400
DAYS = {"week-6": (28, 63), "year-1": (305, 425), "year-2": (640, 850)}
LAST_YEAR = 12  # further than any run goes
FOLLOWED = ("index", "revision", "conversion")
Flow = Counter[tuple[str, str]]


def windows(surgery_on: date) -> dict[str, tuple[date, date]]:
    """First and last day of each timepoint after surgery."""
    found = {code: tuple(surgery_on + timedelta(days=each) for each in days) for code, days in DAYS.items()}
    for year in range(3, LAST_YEAR + 1):
        leap = (surgery_on.month, surgery_on.day) == (2, 29) and (surgery_on.year + year) % 4
        due = surgery_on.replace(year=surgery_on.year + year, day=28 if leap else surgery_on.day)
        half = timedelta(days=90 if year <= 10 else 180)
        found[f"year-{year}"] = due - half, due + half
    return {code: (first, last) for code, (first, last) in found.items()}


@dataclass
class Op:
    """`answers`: by the code of its own form, the day on which it was answered."""

    id: int
    side: str
    kind: str
    surgery_on: date | None
    answers: dict[str, date] = field(default_factory=dict)

    @property
    def followed(self) -> bool:
        return self.kind in FOLLOWED

    def given(self) -> list[date]:
        """Answers that may count for another operation too: not what was asked before surgery and answered after it."""
        done = self.surgery_on
        return [on for code, on in self.answers.items() if code != "baseline" or done is None or on <= done]


@dataclass
class Person:
    """`ends`: died, withdrew, with the day. `sides`: shoulders that have a row. `merged_into`: whose duplicate the record is."""

    id: int
    research: bool
    ops: list[Op] = field(default_factory=list)
    sides: set[str] = field(default_factory=set)
    ends: dict[str, date] = field(default_factory=dict)
    merged_into: int | None = None

    @property
    def end(self) -> date | None:
        return min(self.ends.values(), default=None)

    def on_side(self, side: str) -> list[Op]:
        return [op for op in self.ops if op.side == side]


@dataclass
class Merge:
    """What one record took over from the other. `sides`: whole shoulders; `ops`: single ones, onto a shoulder that it had.

    `before`: operations that the kept record had itself; `left`: ends as the merge left them.
    """

    kept: Person
    alias: Person
    research: bool
    sides: set[str]
    ops: list[Op]
    ends: dict[str, tuple[date | None, date]]
    before: list[Op]
    left: dict[str, date]

    def undo(self, whose: str) -> None:
        """Shoulders go back with all that was done on them since, single operations with what was done next on that shoulder.

        `whose`: the ends that were entered since: of the kept person, of the other, or of both.
        """
        back = [op for op in self.kept.ops if op.side in self.sides or op in self.ops]
        places = {op.side for op in self.ops}
        for op in self.kept.ops:
            if op.side in places and op not in back and op not in self.before and self.last_before(op) in back:
                back.append(op)
        self.kept.ops = [op for op in self.kept.ops if op not in back]
        self.kept.sides -= self.sides
        self.alias.ops, self.alias.sides = back, self.alias.sides | self.sides
        self.alias.merged_into, self.kept.research = None, self.research
        since = {name: on for name, on in self.kept.ends.items() if self.left.get(name) != on}
        for name, on in since.items() if whose != "kept" else ():
            known = self.alias.ends.get(name, on)
            self.alias.ends[name] = min(known, on) if name == "withdrew" else known
        for name in since if whose == "other" else ():
            del self.kept.ends[name]
            self.kept.ends |= {name: self.left[name]} if name in self.left else {}
        for name, (before, after) in self.ends.items():
            if self.kept.ends.get(name) == after:
                del self.kept.ends[name]
                self.kept.ends |= {name: before} if before else {}

    def last_before(self, op: Op) -> Op | None:
        done = [(each.surgery_on, place, each) for place, each in enumerate(self.kept.ops) if each.surgery_on]
        earlier = [each for each in done if each[2] is not op and each[2].side == op.side]
        on = op.surgery_on or date.max
        return max((each for each in earlier if each[0] <= on), default=(on, 0, None), key=lambda each: each[:2])[2]


def merged(kept: Person, alias: Person) -> Merge:
    """The stricter of two ends and consents holds; operations of a shoulder that the kept record has are moved one by one."""
    taken: dict[str, tuple[date | None, date]] = {}
    for name, on in alias.ends.items():
        before = kept.ends.get(name)
        if before is None or (name == "withdrew" and on < before):
            taken[name] = (before, on)
    whole = alias.sides - kept.sides
    done = Merge(
        kept, alias, kept.research, whole, [op for op in alias.ops if op.side not in whole], taken, [*kept.ops], {}
    )
    kept.ends |= {name: after for name, (_before, after) in taken.items()}
    done.left = dict(kept.ends)
    kept.research = kept.research and alias.research
    kept.ops, alias.ops = [*kept.ops, *alias.ops], []
    kept.sides, alias.sides = kept.sides | whole, alias.sides - whole
    alias.merged_into = kept.id
    return done


@dataclass
class Model:
    people: dict[int, Person] = field(default_factory=dict)
    logged: int = 0

    def person_of(self, op_id: int) -> Person:
        return next(person for person in self.people.values() if any(op.id == op_id for op in person.ops))

    def op(self, op_id: int) -> Op:
        return next(op for op in self.person_of(op_id).ops if op.id == op_id)

    def records(self) -> list[Person]:
        return [person for person in self.people.values() if person.merged_into is None]

    def flow(self, today: date) -> Flow:
        """How many operations stand at each (timepoint, step), as the file counts; `other` are all waits and silences.

        The file looks at the timepoints that have opened for anybody in it.
        """
        found: Flow = Counter({("", "operated"): self.logged, ("", "not_enrolled"): self.logged})
        opened = self._opened(today)
        for person in self.records():
            for op in person.ops:
                if op.surgery_on is None:
                    continue
                where = "in_files" if person.research else "no_research_consent"
                found.update([("", "operated"), ("", "enrolled"), ("", where)])
                if person.research:
                    steps = self._at_timepoints(person, op, today)
                    found.update((code, step) for code, step in steps if code in opened)
        return +found

    def _opened(self, today: date) -> set[str]:
        ops = [op for person in self.records() if person.research for op in person.ops]
        return {code for op in ops for code, window in self.planned(op, today).items() if window[0] <= today}

    def planned(self, op: Op, today: date) -> dict[str, tuple[date, date]]:
        """The timepoints that must have a row by now."""
        if not op.followed or op.surgery_on is None:
            return {}
        horizon = today + timedelta(days=AHEAD)
        return {code: window for code, window in windows(op.surgery_on).items() if window[0] <= horizon}

    def _at_timepoints(self, person: Person, op: Op, today: date) -> Iterator[tuple[str, str]]:
        planned = self.planned(op, today)
        for code in (*DAYS, *(f"year-{year}" for year in range(3, LAST_YEAR + 1))):
            window = planned.get(code)
            yield code, self._step(person, op, code, window, today) if window else "not_planned"

    def _step(self, person: Person, op: Op, code: str, window: tuple[date, date], today: date) -> str:
        answered = self._answered(person, op, code, window)
        end = person.end if person.end is not None and person.end <= window[1] else None
        if end is not None and end <= today and (answered is None or answered > end):
            return "not_expected"
        if answered is not None:
            return "analysed"
        return "upcoming" if today < window[0] else "other"

    def _answered(self, person: Person, op: Op, code: str, window: tuple[date, date]) -> date | None:
        """Its own answer; else one to another follow-up of the same shoulder that lies in this window while it was expected."""
        if code in op.answers:
            return op.answers[code]
        others = [each for each in person.on_side(op.side) if each is not op and each.followed]
        last = min(window[1], person.end) if person.end is not None else window[1]
        return min((on for each in others for on in each.given() if window[0] <= on <= last), default=None)
