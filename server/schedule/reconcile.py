"""The difference between the timepoints that are kept and those that are planned now.

Rules:

1. The surgery date decides. When it is put right every row moves with it, also what was answered, asked or has closed; where the answer
   lies then, and whether anybody was asked in that window, is computed again by whoever applies the changes.
2. A baseline closes with surgery, whenever that is, so its due and closing days follow the plan. Its opening day does not once it was
   answered or put before the patient, but it never lies after surgery.
3. A changed plan replaces only what has not opened yet; what was answered or put before the patient stays as its own plan had it.
4. What the plan no longer has goes, unless it has closed, or was answered or put before the patient.
5. What is made or moved after its day of inviting invites today and leaves time to answer, so that nobody is overdue
   for something never asked. Its window stays where it is.
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
    """`kept`: rows that the plan would now have otherwise, left alone by rules 3 and 4, for a person to know of."""

    create: tuple[PlannedTimepoint, ...] = ()
    move: tuple[Move, ...] = ()
    withdraw: tuple[Existing, ...] = ()
    kept: tuple[Existing, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.create or self.move or self.withdraw)


def reconcile(existing: Iterable[Existing], planned: Iterable[PlannedTimepoint], *, today: date) -> Changes:
    """What to create, move and withdraw so that the rows of one follow-up match the plan.

    Applying the result leaves nothing to do.
    """
    rows = {row.key: row for row in existing}
    wanted = {(each.code, each.attempt): each for each in planned}
    plans = {each.plan for each in wanted.values()}
    moves: list[Move] = []
    withdrawn: list[Existing] = []
    kept: list[Existing] = []
    for key, row in rows.items():
        to = wanted.get(key)
        if to is None:
            (kept if _stays(row, plans, today) else withdrawn).append(row)
            continue
        if row.before_surgery:
            to = _followed(row, to, today)
        elif _is_of_another_plan(row, plans, today):
            kept.append(row)
            continue
        if not _is_same(row, to, row.opens_on <= today):
            moves.append(Move(row, to if row.asked or row.answered else invited_from(to, today)))
    created = [invited_from(to, today) for key, to in wanted.items() if key not in rows]
    return Changes(tuple(created), tuple(moves), tuple(withdrawn), tuple(kept))


def _stays(row: Existing, plans: set[str], today: date) -> bool:
    """Rules 3 and 4."""
    closed = row.closes_on is not None and row.closes_on < today
    return row.answered or row.asked or closed or _is_of_another_plan(row, plans, today)


def _is_of_another_plan(row: Existing, plans: set[str], today: date) -> bool:
    """Rule 3. Without a single planned timepoint there is no other plan either."""
    begun = row.opens_on <= today or row.answered or row.asked
    return bool(plans) and row.plan not in plans and begun


def _followed(row: Existing, wanted: PlannedTimepoint, today: date) -> PlannedTimepoint:
    """Rule 2. Once asked: due on the later of both days, but no later than surgery; closes with surgery."""
    plan = row.plan if wanted.opens_on <= today else wanted.plan
    if not (row.asked or row.answered):
        return replace(wanted, plan=plan)
    opens_on, due_on = row.opens_on, max(row.due_on, wanted.due_on)
    if wanted.closes_on is not None:
        opens_on = min(opens_on, wanted.closes_on)
    if wanted.anchor_on is not None:
        due_on = max(opens_on, min(due_on, wanted.anchor_on))
    invites_on = max(opens_on, min(row.invites_on, due_on))
    return replace(wanted, opens_on=opens_on, invites_on=invites_on, due_on=due_on, plan=row.plan)


def _is_same(row: Existing, to: PlannedTimepoint, opened: bool) -> bool:
    """Inviting and due days are not compared: they may have been put off by rule 5, and change only with the others."""
    same_days = (row.anchor_on, row.opens_on, row.closes_on) == (to.anchor_on, to.opens_on, to.closes_on)
    return same_days and (opened or row.plan == to.plan)
