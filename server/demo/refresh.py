"""Writes demo.json as things stand now."""

from typing import Any

from server.demo.folder import write_demo_file
from server.demo.listing import list_links
from server.installation.runtime import Runtime
from server.queries.clock import clinic_day, clinic_now, the_clinic


def write_listing(runtime: Runtime, accounts: list[dict[str, str]]) -> dict[str, Any]:
    """What `demo.json` holds: where staff sign in, with what, and the links worth opening."""
    with runtime.store.reading() as session:
        clinic = the_clinic(session)
        today = clinic_day(clinic, clinic_now(clinic, runtime.real_clock()))
        links = [each.as_json(clinic.base_url) for each in list_links(session, today)]
        content = {"staff_url": f"{clinic.base_url}/sign-in", "accounts": accounts, "patient_links": links}
    write_demo_file(runtime.settings.data, content)
    return content
