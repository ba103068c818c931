"""Where an instrument is used: in which plan and when, and how many answers of this clinic there are by version."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy import distinct, func, select
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.models import FollowUp, Response, Score, Timepoint
from server.queries.current import VALID_SCORE
from server.schedule.plan import Part
from server.schedule.preference import PREFERENCE
from server.schedule.timepoint_code import TimepointCode
from server.staff.page import words
from server.timepoints.plans import Plans, read_plans
from server.words.timepoints import year_runs


@dataclass(frozen=True)
class Use:
    """What asks it: the title of a plan, with "before surgery, 6 weeks and years 1 to 65"; or whom, where no plan does."""

    by: str
    when: str


def uses_of(spec: str, plans: Plans) -> list[Use]:
    """The plans that ask it; versions of one plan that ask it at the same times are one use, named by the latest.

    What no plan names is asked by a rule (server/schedule/preference.py), and that is told.
    """
    if spec == PREFERENCE.instrument:
        by = words.gettext("Of people with two operated shoulders")
        return [Use(by, words.gettext("yearly forms of the later one, once both are a year old"))]
    found: dict[tuple[str, str], Use] = {}
    for _name, plan in sorted(plans.usable.items()):
        codes = [entry.code for entry in plan.entries() if any(part.instrument == spec for part in entry.parts)]
        if codes:
            found[plan.title, _when(codes)] = Use(plan.title, _when(codes))
    return list(found.values())


def answers_by_version(session: Session) -> Counter[str]:
    """Counted forms by instrument and version, such as `sst@1`.

    An instrument with a score counts its scored rows; a form without one counts what its plan asked, as answers are sealed.
    """
    scored = (
        select(Score.instrument, Score.instrument_version, func.count(distinct(Score.response_id)))
        .join(Response, Response.id == Score.response_id)
        .where(Response.counted, VALID_SCORE)
        .group_by(Score.instrument, Score.instrument_version)
    )
    found = Counter({f"{instrument}@{version}": count for instrument, version, count in session.execute(scored)})
    asked = (
        select(FollowUp.plan_id, Timepoint.plan_version, Timepoint.code, func.count())
        .join(Timepoint, Timepoint.follow_up_id == FollowUp.id)
        .join(Response, Response.timepoint_id == Timepoint.id)
        .where(Response.counted)
        .group_by(FollowUp.plan_id, Timepoint.plan_version, Timepoint.code)
    )
    plans = read_plans(session).usable
    for plan_id, version, code, count in session.execute(asked):
        plan = plans.get(f"{plan_id}@{version}")  # what an unusable plan asked is not known
        for spec in _forms_of(plan.entry(code).parts) if plan else ():
            found[spec] += count
    return found


@lru_cache(maxsize=1000)
def _forms_of(parts: tuple[Part, ...]) -> tuple[str, ...]:
    """The parts without a score."""
    library = load_library()
    return tuple(part.instrument for part in parts if not library.instrument(part.instrument).scales)


def _when(codes: Sequence[str]) -> str:
    years = [year for code in codes if (year := TimepointCode.parse(code).year) is not None]
    others = [words.timepoint(code) for code in codes if TimepointCode.parse(code).year is None]
    said = []
    for first, last in year_runs(years):
        said += [f"{first} to {last}"] if last > first + 1 else [str(year) for year in range(first, last + 1)]
    many = "years" if len(years) > 1 else "year"
    return words.listed(others + ([f"{many} {words.listed(said)}"] if said else []))
