"""Plans of a clinic's own to try things on."""

import json
from typing import Any

from sqlalchemy import update

from scoring.library import load_library
from server.clinic.settings import make_default
from server.models import InstalledPlan
from server.texts.check import check_file
from server.texts.install import install_text
from server.timepoints.plan_install import check_for_clinic, install_plan
from tests.clinic_case import Case
from tests.texts.making import licence, text_file

NEEDS_PERMISSION = min(spec for spec, each in load_library().definitions.items() if each.status == "needs_permission")


def plan_document(plan_id: str = "harbour", version: str = "1", *specs: str, **changed: Any) -> dict[str, Any]:
    """Asks `specs` (pain and the shoulder test if none) before surgery, after six weeks and after one year."""
    parts = [{"instrument": spec} for spec in specs or ("pain@1", "sst@1")]
    both = {"minutes": 3, "parts": parts}
    document = {
        "id": plan_id,
        "version": version,
        "title": "Harbour follow-up",
        "timepoints": [
            {"code": "baseline", "title": titles("Before"), "anchor": "before_surgery", "early_over_days": 90, **both},
            {
                "code": "week-6",
                "title": titles("Six weeks"),
                "anchor": "days",
                "opens": 28,
                "due": 42,
                "closes": 63,
                **both,
            },
            {
                "code": "year-1",
                "title": titles("One year"),
                "anchor": "years",
                "years": [1],
                "opens": -60,
                "closes": 60,
                **both,
            },
        ],
        "phone_call": [f"{parts[0]['instrument']}/1"],
    }
    return document | changed


def titles(words: str) -> dict[str, str]:
    return {"en": words, "es": f"{words} (es)"}


def plan_file(*words: str, **changed: Any) -> bytes:
    return json.dumps(plan_document(*words, **changed), ensure_ascii=False).encode()


def install(case: Case, data: bytes, *, default: bool = False) -> str:
    """The name of the plan, installed as from the command line and perhaps made the one that new follow-ups start with."""
    library = case.runtime.library
    with case.store.writing() as session:
        checked = check_for_clinic(session, data, library)
        name = install_plan(session, checked, library, now=case.now, by_id=None).name
    if default:
        choose(case, name)
    return name


def choose(case: Case, name: str) -> bool:
    with case.store.writing() as session:
        return make_default(session, case.runtime.library, name, now=case.now, by_id=None)


def license_in(case: Case, spec: str, *languages: str) -> None:
    """Installs an invented licensed text of this instrument in each language."""
    for language in languages:
        checked = check_file(text_file(spec, language), case.runtime.library)
        with case.store.writing() as session:
            install_text(session, checked, licence(), now=case.now, by_id=None)


def alter(case: Case) -> None:
    """Somebody changes what was installed, behind the program's back."""
    altered = plan_file(title="Altered follow-up").decode()
    with case.store.writing() as session:
        session.execute(update(InstalledPlan).values(content=altered))


def restore(case: Case, data: bytes) -> None:
    with case.store.writing() as session:
        session.execute(update(InstalledPlan).values(content=data.decode()))
