"""The instrument page offers each language's words as a FHIR R4 Questionnaire."""

import json

import pytest

from scoring.library import load_library
from server.exports.questionnaire import questionnaire
from tests.staff.html_page import read_page
from tests.staff.staff_case import StaffCase

# The files do not depend on the database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_every_language_has_its_file_behind_a_link(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    links = [link.attributes["href"] for link in read_page(nurse.get("/instruments/sst@1").text).all("a")]
    found = [link for link in links if link and link.startswith("/instruments/sst@1/")]
    assert found == ["/instruments/sst@1/en", "/instruments/sst@1/es"]
    library = load_library()
    for link, language in zip(found, ("en", "es"), strict=True):
        answer = nurse.get(link)
        assert answer.mimetype == "application/fhir+json"
        assert answer.headers["Content-Disposition"] == f'attachment; filename="sst-1-{language}-descriptive-1.json"'
        assert json.loads(answer.data) == questionnaire(library.instrument("sst"), library.texts("sst")[language])


@pytest.mark.parametrize("path", ["/instruments/none@1/en", "/instruments/sst@9/en", "/instruments/sst@1/fi"])
def test_what_is_not_there_is_not_found(staff: StaffCase, path: str) -> None:
    assert staff.sign_in("nurse").get(path).status_code == 404
