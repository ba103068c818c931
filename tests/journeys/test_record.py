"""The record is completed and put right in a browser, and the database says the same. Everybody here is invented."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Component, FieldChange, Operation, Patient, Shoulder, Timepoint
from tests.journeys.axe import barriers
from tests.journeys.chromium import PHONE, Chromium
from tests.journeys.site import BORN, Site
from tests.journeys.staff import sign_in

pytestmark = pytest.mark.xdist_group("chromium")
TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
LABEL = "(01)09506000134352(17)301225(10)LOT-77"


@pytest.fixture(scope="module")
def nurse(site: Site, shared_chromium: Chromium) -> Iterator[Page]:
    page = sign_in(shared_chromium.browser, site, "nurse")
    page.set_viewport_size(PHONE)
    yield page
    page.context.close()


@pytest.fixture(scope="module")
def surgeon(site: Site, shared_chromium: Chromium) -> Iterator[Page]:
    page = sign_in(shared_chromium.browser, site, "surgeon")
    yield page
    page.context.close()


def fine(page: Page) -> bool:
    """No barrier, and no scrolling sideways on a small screen."""
    assert (barriers(page), page.evaluate(TOO_WIDE)) == ([], 0)
    return True


def focus_on(page: Page, css: str) -> None:
    """From where the focus is, by the Tab key alone."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("css => document.activeElement.matches(css)", css):
            return
    raise AssertionError(f"the Tab key does not reach {css}")


def is_opened(page: Page, part: str) -> bool:
    """A folded part of the patient's page stands open, and its heading is on the screen."""
    expect(page.locator(f"#{part} > details[open]")).to_be_visible()
    expect(page.locator(f"#{part} > details > summary")).to_be_in_viewport(ratio=0.5)
    return True


def operation_of(site: Site, patient_id: int) -> Operation:
    with site.case.store.reading() as session:
        return session.scalars(select(Operation).join(Shoulder).where(Shoulder.patient_id == patient_id)).one()


def lots_of(site: Site, patient_id: int) -> list[tuple[str, str | None]]:
    found = select(Component.role, Component.lot).join(Operation, Operation.id == Component.put_in_id).join(Shoulder)
    with site.case.store.reading() as session:
        rows = session.execute(found.where(Shoulder.patient_id == patient_id).order_by(Component.id)).all()
        return [(row.role, row.lot) for row in rows]


def planned_today(site: Site, **person: object) -> int:
    return site.case.enrol(ShoulderEntry(side="left", surgery_planned_on=site.case.today), **person)


def test_a_nurse_completes_a_planned_operation_with_two_components_by_keyboard(site: Site, nurse: Page) -> None:
    """On a small screen; a scanner types the code and ends with the Enter key."""
    patient_id = planned_today(site, first_name="Zelda", last_name="Lotte")
    nurse.goto(f"{site.address}/patients/{patient_id}")
    focus_on(nurse, "a[href$='edit?done=yes']")
    nurse.keyboard.press("Enter")
    nurse.get_by_label("Implant type").select_option("resurfacing_hemi")
    nurse.locator("#n1-role").select_option("other")
    nurse.locator("#n1-role_other").fill("a cover")
    nurse.locator("#n1-role").select_option("head")
    assert not nurse.locator("#n1-role_other").is_visible()
    nurse.locator("#n1-role").select_option("other")
    nurse.locator("#n1-role_other").fill("")
    nurse.locator("#n1-role").select_option("head")
    nurse.locator("#n1-udi").fill(LABEL)
    nurse.keyboard.press("Enter")
    nurse.get_by_text("The codes were read; nothing is saved yet.").wait_for()
    assert nurse.input_value("#n1-lot") == "LOT-77" and fine(nurse)
    assert operation_of(site, patient_id).surgery_on is None
    nurse.get_by_role("button", name="Add a component").press("Enter")
    nurse.locator("#n2-role").select_option("cement")
    nurse.get_by_role("button", name="Add a component").press("Enter")
    assert nurse.locator("#n3-role").input_value() == "", "a row that is left empty is none, and holds nothing up"
    nurse.get_by_role("button", name="Save", exact=True).last.press("Enter")
    nurse.get_by_text("The operation is saved.").wait_for()
    assert is_opened(nurse, "operations"), "what was saved is in view"
    for link, part in (("Every form and answer", "answers"), ("Read the link out", "link")):
        nurse.get_by_role("link", name=link).press("Enter")
        assert is_opened(nurse, part), part
    nurse.locator("#link > details > summary").click()
    nurse.get_by_role("link", name="Read the link out").click()
    assert is_opened(nurse, "link"), "closed, and asked for again"
    done = operation_of(site, patient_id)
    assert (done.surgery_on, done.implant_type) == (site.case.today, "resurfacing_hemi")
    assert lots_of(site, patient_id) == [("head", "LOT-77"), ("cement", None)]
    with site.case.store.reading() as session:
        of_patient = select(Timepoint.code).where(Timepoint.patient_id == patient_id)
        assert {"baseline", "week-6", "year-1"} <= set(session.scalars(of_patient))


def test_a_surgeon_finds_everybody_with_a_lot_and_takes_the_list(site: Site, nurse: Page, surgeon: Page) -> None:
    other = planned_today(site, first_name="Yara", last_name="Lotte")
    nurse.goto(f"{site.address}/patients/{other}/operations/{operation_of(site, other).id}/edit?done=yes")
    nurse.locator("#n1-role").select_option("head")
    nurse.locator("#n1-lot").fill("LOT-77")
    nurse.get_by_role("button", name="Save", exact=True).last.click()
    nurse.get_by_text("The operation is saved.").wait_for()
    surgeon.goto(f"{site.address}/components")
    surgeon.get_by_label("Lot").fill("lot 77")
    surgeon.keyboard.press("Enter")
    surgeon.locator("[data-row]").first.wait_for()
    there = surgeon.locator("h3:has-text('In the shoulder now (') + ul [data-row] .name a").all_inner_texts()
    assert sorted(there) == ["Yara Lotte", "Zelda Lotte"] and fine(surgeon)
    with surgeon.expect_download() as taken:
        surgeon.get_by_role("button", name="Take the list as a file").press("Enter")
    rows = taken.value.path().read_text(encoding="utf-8").splitlines()
    assert len(rows) >= 3 and rows[0].startswith("study_number,last_name,first_name")
    assert sorted(row.split(",")[2] for row in rows[1:] if "in_situ" in row) == ["Yara", "Zelda"]


def test_two_tabs_collide_and_the_later_one_sees_both_values_and_chooses(
    site: Site, nurse: Page, surgeon: Page
) -> None:
    patient_id = site.enrol(first_name="Cora", last_name="Twice", phone="555 0111")
    opened = [nurse, surgeon]
    for page in opened:
        page.goto(f"{site.address}/patients/{patient_id}")
        page.get_by_role("link", name="Contact details").press("Enter")
    for page, number, comes in zip(opened, ("555 0222", "555 0333"), ("[data-notice]", "[data-errors]"), strict=True):
        page.get_by_label("Telephone", exact=True).fill(number)
        page.locator("form", has=page.get_by_label("Telephone", exact=True)).get_by_role("button", name="Save").click()
        page.wait_for_selector(comes)
    said = surgeon.locator("[data-errors]").inner_text()
    assert "“555 0111” became “555 0222”, by Nell nurse" in said and "You entered “555 0333”" in said
    with site.case.store.reading() as session:
        assert session.get_one(Patient, patient_id).phone == "555 0222"
    surgeon.get_by_label("Take “555 0222” instead of mine").check()
    assert fine(surgeon)
    form = surgeon.locator("form", has=surgeon.get_by_label("Telephone", exact=True))
    form.get_by_role("button", name="Save").click()
    surgeon.wait_for_url("**done=contact**")
    with site.case.store.reading() as session:
        assert session.get_one(Patient, patient_id).phone == "555 0222"
        of_patient = select(FieldChange).where(FieldChange.table_name == "patient", FieldChange.row_id == patient_id)
        assert [(each.old, each.new) for each in session.scalars(of_patient)] == [("555 0111", "555 0222")]


def changes_of(site: Site, table: str, row_id: int) -> list[tuple[str, str | None, str | None, str | None]]:
    of_row = select(FieldChange).where(FieldChange.table_name == table, FieldChange.row_id == row_id)
    with site.case.store.reading() as session:
        rows = session.scalars(of_row.order_by(FieldChange.id))
        return [(each.field, each.old, each.new, each.why) for each in rows]


def test_a_nurse_mends_a_wrong_side(site: Site, nurse: Page) -> None:
    patient_id = site.enrol("left", first_name="Olga", last_name="Otherside")
    operation_id = operation_of(site, patient_id).id
    nurse.goto(f"{site.address}/patients/{patient_id}/operations/{operation_id}/side")
    assert fine(nurse)
    nurse.get_by_label("Why").fill("the report says right")
    nurse.get_by_role("button", name="Move it to the right shoulder").press("Enter")
    nurse.wait_for_url("**/patients/*?done=*")
    with site.case.store.reading() as session:
        shoulder = session.get_one(Shoulder, session.get_one(Operation, operation_id).shoulder_id)
        assert (shoulder.side, shoulder.patient_id) == ("right", patient_id)
    assert changes_of(site, "operation", operation_id) == [("side", "left", "right", "the report says right")]


def test_a_nurse_takes_back_a_death_that_was_another_person_s(site: Site, nurse: Page) -> None:
    patient_id = site.enrol(first_name="Vera", last_name="Alive")
    nurse.goto(f"{site.address}/patients/{patient_id}/leave")
    nurse.get_by_role("link", name="The patient died").click()
    nurse.wait_for_url("**/leave?what=*")
    assert nurse.locator("#leave-on").input_value() == site.case.today.isoformat()
    assert fine(nurse) and nurse.locator("#extent").count() == 0
    nurse.get_by_label("Known from").select_option("gp")
    nurse.get_by_label("How sure").select_option("confirmed")
    nurse.get_by_label("I am sure").check()
    nurse.get_by_role("button", name="Write it down").press("Enter")
    nurse.wait_for_url("**/patients/*?done=left")
    with site.case.store.reading() as session:
        assert session.get_one(Patient, patient_id).died_on == site.case.today
    nurse.goto(f"{site.address}/patients/{patient_id}/leave")
    nurse.get_by_text("This was the wrong person").click()
    assert fine(nurse)
    nurse.locator("#died-why").fill("it was her sister")
    nurse.get_by_role("button", name="Take it back").press("Enter")
    nurse.wait_for_url("**?done=end-taken-back")
    day = site.case.today.isoformat()
    assert changes_of(site, "patient", patient_id) == [
        ("died_on", None, day, None),
        ("died_source", None, "gp", None),
        ("died_certainty", None, "confirmed", None),
        ("died_on", day, None, "it was her sister"),
        ("died_source", "gp", None, "it was her sister"),
        ("died_certainty", "confirmed", None, "it was her sister"),
    ]
    with site.case.store.reading() as session:
        ends = select(Timepoint.not_expected_on).where(Timepoint.patient_id == patient_id)
        assert set(session.scalars(ends)) == {None}


def test_a_duplicate_found_at_enrolment_is_made_one_and_undone(site: Site, nurse: Page) -> None:
    """The warning is answered too quickly; the records are merged on the kept one's page, and parted again."""
    kept = site.enrol("left", first_name="Mina", last_name="Double")
    nurse.goto(f"{site.address}/patients/new")
    typed = {"first_name": "Mina", "last_name": "Double", "birth_on": BORN.isoformat(), "email": "mina@patient.example"}
    for name, text in typed.items():
        nurse.locator(f"[name={name}]").fill(text)
    nurse.locator("#right_shoulder").check()
    nurse.locator("#right_surgery_on").fill(site.case.today.isoformat())
    nurse.get_by_role("button", name="Enrol and show the link").press("Enter")
    nurse.get_by_text("Is it one of these?").wait_for()
    assert "Mina Double" in nurse.inner_text("main") and fine(nurse)
    nurse.get_by_label("No, this is another person").check()
    nurse.get_by_role("button", name="Enrol and show the link").press("Enter")
    nurse.wait_for_url("**/enrolled**")
    alias = int(nurse.url.split("/patients/")[1].split("/")[0])
    with site.case.store.reading() as session:
        number = session.get_one(Patient, alias).study_number
    nurse.goto(f"{site.address}/patients/{kept}/same-person?other={number}")
    nurse.get_by_text("probably one person").wait_for()
    assert fine(nurse)
    nurse.get_by_label("I have looked at both").check()
    nurse.locator("#merge-why").fill("the letter said so")
    nurse.get_by_role("button", name="Make them one").press("Enter")
    nurse.wait_for_url("**?done=merged")
    assert sides_of(site, kept) == ["left", "right"] and sides_of(site, alias) == []
    nurse.goto(f"{site.address}/patients/{kept}/same-person")
    nurse.get_by_text("They are two people after all").click()
    nurse.locator("[id^=undo-][id$=-why]").fill("two birth certificates")
    nurse.get_by_role("button", name="Undo it").press("Enter")
    nurse.wait_for_url("**?done=merge-undone")
    assert sides_of(site, kept) == ["left"] and sides_of(site, alias) == ["right"]
    with site.case.store.reading() as session:
        assert session.get_one(Patient, alias).merged_into_id is None


def sides_of(site: Site, patient_id: int) -> list[str]:
    with site.case.store.reading() as session:
        found = select(Shoulder.side).join(Operation).where(Shoulder.patient_id == patient_id)
        return sorted(session.scalars(found))
