"""The difference between the timepoints that are kept and those that are planned now.

Rules:

1. What was answered stays as it is. So does what has closed, and what has been put before the patient (a message
   sent, a form fetched).
2. One exception: a baseline closes with surgery, whenever that is, so while it is unanswered its due and closing days
   follow the plan. Its opening day does not once it was put before the patient.
3. A changed plan replaces only what has not opened yet.
4. Anything else follows the dates: it moves with the surgery date and goes when the plan no longer has it.
5. What is made or moved after its day of inviting invites today and leaves time to answer, so that nobody is overdue
   for something never asked. Its window stays where it is.
6. A historical timepoint is never created here; whoever enters an old series does that, together with its answers.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from server.schedule.timepoints import PlannedTimepoint, invited_from


@dataclass(frozen=True)
class Existing:
    """One kept timepoint. `asked`: a message about it was sent or its form fetched. `plan`: `id@version`."""

    code: str
    attempt: int
    anchor_on: date | None
    opens_on: date
    invites_on: date
    due_on: date
    closes_on: date | None
    plan: str
    before_surgery: bool
    answered: bool = False
    asked: bool = False

    @property
    def key(self) -> tuple[str, int]:
        return self.code, self.attempt


@dataclass(frozen=True)
class Move:
    """`to` holds all values the row has afterwards."""

    existing: Existing
    to: PlannedTimepoint


@dataclass(frozen=True)
class Changes:
    """`kept`: rows that the plan would now have otherwise, left alone by rules 1 and 3, for a person to know of."""

    create: tuple[PlannedTimepoint, ...] = ()
    move: tuple[Move, ...] = ()
    withdraw: tuple[Existing, ...] = ()
    kept: tuple[Existing, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.create or self.move or self.withdraw)


def reconcile(existing: Iterable[Existing], planned: Iterable[PlannedTimepoint], *, today: date) -> Changes:
    """What to create, move and withdraw so that the rows of one follow-up match the plan.

    `planned` is to be made with `historical=True`, so that rows of an old series find their match. Applying the result
    leaves nothing to do.
    """
    rows = {row.key: row for row in existing}
    wanted = {(each.code, each.attempt): each for each in planned}
    plans = {each.plan for each in wanted.values()}
    moves: list[Move] = []
    withdrawn: list[Existing] = []
    kept: list[Existing] = []
    for key, row in rows.items():
        to, fixed = wanted.get(key), _is_fixed(row, plans, today)
        if fixed and to is not None and row.before_surgery and not row.answered:
            to, fixed = _followed(row, to, today), False
        if to is not None and _is_same(row, to, fixed or row.opens_on <= today):
            continue
        if fixed:
            kept.append(row)
        elif to is None:
            withdrawn.append(row)
        else:
            moves.append(Move(row, to if row.asked else invited_from(to, today)))
    created = [invited_from(to, today) for key, to in wanted.items() if key not in rows and not to.historical]
    return Changes(tuple(created), tuple(moves), tuple(withdrawn), tuple(kept))


def _is_fixed(row: Existing, plans: set[str], today: date) -> bool:
    """Rules 1 and 3. Without a single planned timepoint there is no other plan either."""
    closed = row.closes_on is not None and row.closes_on < today
    of_another_plan = bool(plans) and row.plan not in plans and row.opens_on <= today
    return row.answered or row.asked or closed or of_another_plan


def _followed(row: Existing, wanted: PlannedTimepoint, today: date) -> PlannedTimepoint:
    """Rule 2. Once asked: due on the later of both days, but no later than surgery; closes with surgery."""
    plan = row.plan if wanted.opens_on <= today else wanted.plan
    if not row.asked:
        return replace(wanted, plan=plan)
    due_on = max(row.due_on, wanted.due_on)
    if wanted.anchor_on is not None:
        due_on = max(row.opens_on, min(due_on, wanted.anchor_on))
    closes_on = None if wanted.closes_on is None else max(due_on, wanted.closes_on)
    return replace(
        wanted, opens_on=row.opens_on, invites_on=row.invites_on, due_on=due_on, closes_on=closes_on, plan=row.plan
    )


def _is_same(row: Existing, to: PlannedTimepoint, opened: bool) -> bool:
    """Inviting and due days are not compared: they may have been put off by rule 5, and change only with the others."""
    same_days = (row.anchor_on, row.opens_on, row.closes_on) == (to.anchor_on, to.opens_on, to.closes_on)
    return same_days and (opened or row.plan == to.plan)
