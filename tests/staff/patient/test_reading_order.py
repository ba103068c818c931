"""Whoever reads the patient's page by ear or by the tab key meets the course before the long list of what can be done."""

import pytest

from server.models import Patient
from tests.staff.course_case import followed, sheet
from tests.staff.staff_case import StaffCase
from tests.staff.tree import Node, read_tree

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def content(staff: StaffCase, patient_id: int) -> list[Node]:
    page = read_tree(staff.sign_in("surgeon").get(f"/patients/{patient_id}").text)
    return list(next(page.all("main")).all())


def place(nodes: list[Node], klass: str) -> int:
    return next(number for number, node in enumerate(nodes) if klass in node.attributes.get("class", "").split())


def links(nodes: list[Node]) -> list[str]:
    return [node.attributes["href"] for node in nodes if node.tag == "a" and "href" in node.attributes]


def test_the_course_is_read_before_what_can_be_done(staff: StaffCase) -> None:
    nodes = content(staff, followed(staff, sheet(3), sheet(11)))
    standing, course, acts = (place(nodes, klass) for klass in ("standing", "two", "acts"))
    assert standing < course < acts
    assert any(node.tag == "svg" for node in nodes[course:acts])


def test_the_telephone_and_the_links_of_the_first_look_alone_come_before_the_course(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    with staff.case.store.writing() as session:
        session.get_one(Patient, patient_id).phone = "+34 600 000 001"
    nodes = content(staff, patient_id)
    before, acts = links(nodes[: place(nodes, "two")]), links(list(nodes[place(nodes, "acts")].all()))
    moved = ("/letter", "/details", "/leave")
    assert [href for href in before if href.startswith("tel:")] == before[:1] != []
    assert len(before) < 10 and not [href for href in before if href.endswith(moved)]
    assert [href.rsplit("/", 1)[-1] for href in acts if href.endswith(moved)] == ["letter", "details", "leave"]
