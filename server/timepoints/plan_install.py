"""Installs a checked plan, and says which plan new follow-ups start with. Locked, one transaction, audited.

Rules:

1. An installed plan never changes and is never deleted. The same bytes again are already installed; a correction is a new version.
2. A name that the program ships is not the clinic's to use.
3. A plan becomes the default only if it can be used and everything in it can be sent. Running follow-ups keep theirs.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import InstalledPlan
from server.queries.clock import clinic_to_change
from server.queries.texts_in_force import Wording, read_wording
from server.schedule.plan import Plan
from server.timepoints.plan_file import CheckedPlan, check_plan_file
from server.timepoints.plans import PlanUnusable, read_plans, trouble_with
from server.trust.audit import audit


class PlanRefused(ValueError):
    """The plan cannot be installed or made the default; the message says what there is and what to do."""


@dataclass(frozen=True)
class PlanInstallation:
    """`already`: this very plan was there, and nothing was done. `shipped`: it comes with the program."""

    name: str
    already: bool
    shipped: bool = False


def check_for_clinic(session: Session, data: bytes, library: Library, *, stated_sha256: str = "") -> CheckedPlan:
    """The file checked against the licensed texts and the languages of this clinic. Raises PlanFileProblem."""
    wording = read_wording(session, library)
    return check_plan_file(
        data, library, licensed=wording.licensed(), languages=wording.languages, stated_sha256=stated_sha256
    )


def known_already(session: Session, checked: CheckedPlan, library: Library) -> PlanInstallation | None:
    """None when it can be installed. Raises PlanRefused when the name is taken."""
    name = checked.plan.name
    row = session.get(InstalledPlan, (checked.plan.id, checked.plan.version))
    if row is not None:
        return _same_as_installed(row, checked)
    if name not in library.plans:
        return None
    if library.plans[name] == checked.document:
        return PlanInstallation(name, True, shipped=True)
    raise PlanRefused(
        f"id: {name} comes with the program and asks something else; give the plan an id of its own, such as my-{checked.plan.id}"
    )


def _same_as_installed(row: InstalledPlan, checked: CheckedPlan) -> PlanInstallation:
    if trouble_with(row):
        raise PlanRefused(
            f"{row.name} was installed on {row.installed_at:%Y-%m-%d}, and its bytes in the database were altered since; bring the "
            "database back from a backup, or give the file a version of its own"
        )
    if row.sha256 == checked.sha256:
        return PlanInstallation(row.name, True)
    raise PlanRefused(
        f"version: {row.name} was installed on {row.installed_at:%Y-%m-%d} with other content, and an installed plan never changes; "
        "give the file a version of its own"
    )


def install_plan(
    session: Session, checked: CheckedPlan, library: Library, *, now: datetime, by_id: int | None
) -> PlanInstallation:
    """Raises PlanRefused. No follow-up uses it before it is made the default. `by_id` is None from the command line."""
    # Two installations at one time: they queue here.
    clinic_to_change(session)
    plan = checked.plan
    known = known_already(session, checked, library)
    if known is not None:
        return known
    session.add(
        InstalledPlan(
            plan_id=plan.id,
            version=plan.version,
            content=checked.content,
            sha256=checked.sha256,
            installed_at=now,
            installed_by_id=by_id,
        )
    )
    audit(session, "plan:installed", f"plan {plan.name}", now=now, by_id=by_id, sha256=checked.sha256.hex())
    session.flush()
    return PlanInstallation(plan.name, False)


def check_default(session: Session, library: Library, name: str) -> None:
    """Raises PlanRefused, with every reason, unless new follow-ups can start with this plan."""
    try:
        plan = read_plans(session).named(name)
    except PlanUnusable as problem:
        there_are = ", ".join(sorted(read_plans(session).usable))
        raise PlanRefused(f"{problem}; there are: {there_are}") from problem
    stopped = cannot_be_sent(plan, read_wording(session, library))
    if stopped:
        raise PlanRefused(f"{name} cannot start follow-ups: {'; '.join(stopped)}")


def cannot_be_sent(plan: Plan, wording: Wording) -> list[str]:
    """Why parts of it could not be sent in a language of the clinic. A decision that is still to come is no reason."""
    licensed, found = wording.licensed(), []
    for spec in sorted({part.instrument for part in plan.parts_used()}):
        definition = wording.library.instrument(spec)
        texts = [wording.in_force(definition).get(language) for language in wording.languages]
        altered = [text["text_id"] for text in texts if text and text["text_id"] in wording.altered]
        if altered:
            found.append(f"the words of {', '.join(altered)} were altered since they were installed")
        elif definition.status == "needs_permission" and spec not in licensed:
            found.append(
                f"{spec} needs its owner's permission, and no licensed text is installed in every language of the clinic"
            )
    return found


def to_be_decided(plan: Plan, wording: Wording) -> list[str]:
    """Ids of descriptive texts of this plan that stay unsent until a data manager decides on them."""
    texts = (
        (wording.library.instrument(spec), text)
        for spec in sorted({part.instrument for part in plan.parts_used()})
        for text in wording.in_force(wording.library.instrument(spec)).values()
    )
    return [text["text_id"] for definition, text in texts if wording.needs_decision(definition, text)]
