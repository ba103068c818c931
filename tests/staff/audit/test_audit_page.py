"""The audit page narrows by whom, kind, patient, days and words, in its address; people and patients are told without ids."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest

from server.models import AuditEntry, Operation
from server.staff.audit.asked import asked_in
from server.trust.audit import audit
from server.trust.views import note_view
from tests.staff.html_page import read_page
from tests.staff.staff_case import StaffCase

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def listed(page: str) -> list[str]:
    """The rows of the table as they are read."""
    return [" ".join(row.text.split()) for row in read_page(page).all("tr")[1:]]


def two_patients(staff: StaffCase) -> tuple[int, int]:
    """With an act at each one's operation: by the nurse two days ago, by the surgeon yesterday. What enrolling wrote is left out."""
    case = staff.case
    patients = case.enrol(), case.enrol(first_name="Ben", email="ben@patient.example")
    with case.store.writing() as session:
        session.query(AuditEntry).delete()
        first, second = session.query(Operation).order_by(Operation.id).all()
        nurse, surgeon = staff.account_id("nurse"), staff.account_id("surgeon")
        ago = timedelta(days=1)
        audit(session, "operation:moved", f"operation {first.id}", now=case.now - 2 * ago, by_id=nurse)
        audit(session, "patient:capacity", f"patient {patients[1]}", now=case.now - ago, by_id=surgeon)
        audit(
            session,
            "operation:done",
            f"operation {second.id}",
            now=case.now - ago,
            by_id=surgeon,
            patient=2,
            side="left",
        )
        audit(session, "key:made", "sealing key 00", now=case.now)
        audit(session, "account:shut", f"account {nurse}", now=case.now, by_id=surgeon)
    return patients


@on_sqlite
def test_each_filter_of_the_address_narrows_the_list(staff: StaffCase) -> None:
    two_patients(staff)
    manager = staff.sign_in("data_manager")

    def found(**asked: str | int) -> list[str]:
        return listed(manager.get("/audit", query_string=asked).text)

    every = found()
    assert [("Nell Surgeon" in row, "Y-000" in row) for row in every] == [
        *((True, False), (False, False), (True, True), (True, True), (False, True)),
    ]
    assert found(by=staff.account_id("nurse")) == [every[4]] and found(by="program") == [every[1]]
    assert found(kind="record") == [every[2], every[4]] and found(kind="patients") == [every[3]]
    assert found(patient="y-0002") == [every[2], every[3]] and found(patient="Y-0001") == [every[4]]
    assert found(patient="Y-0002", kind="record") == [every[2]]
    assert found(since="2026-06-14") == every[:4] and found(until="2026-06-13") == [every[4]]
    assert found(since="2026-06-14", until="2026-06-14") == every[2:4]
    assert found(find="planned DAY") == [every[4]] and found(find="nell nurse") == [every[4]]
    assert found(find="Y-0001") == [every[4]] and found(find="no such words") == []
    assert found(by=staff.account_id("surgeon"), kind="record", since="2026-06-15") == []


@on_sqlite
def test_nothing_is_told_by_its_number(staff: StaffCase) -> None:
    two_patients(staff)
    page = read_page(staff.sign_in("data_manager").get("/audit").text)
    rows = listed(staff.sign_in("data_manager").get("/audit").text)
    assert rows[0].endswith("Account shut account “Nell Nurse”")
    assert rows[2].endswith("operation Y-0002 side left") and "Arden" not in page.words
    links = [each.attributes["href"] for each in page.all("a") if each.text == "Y-0002"]
    assert links == ["/audit?patient=Y-0002"] * 2


@on_sqlite
def test_what_fits_nothing_and_what_cannot_be_read_is_said(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    assert "Nothing fits all of this." in manager.get("/audit?patient=Y-9999").text
    assert "No patient has this study number." in manager.get("/audit?patient=Y-9999").text
    assert "“yesterday” is no day" in manager.get("/audit?since=yesterday").text
    for odd in ("before=x", "before=999999", "by=%00"[:4], "kind=nothing", "show=views&before=1-2", "until=9999-12-31"):
        assert manager.get(f"/audit?{odd}").status_code == 200, odd
    assert "Nobody has opened a page of a patient yet." in manager.get("/audit?show=views").text


def test_pages_follow_each_other_without_gap_or_repeat(staff: StaffCase) -> None:
    now = staff.case.now
    with staff.case.store.writing() as session:
        session.query(AuditEntry).delete()
        for number in range(250):
            kind = ("operation:moved", "component:struck")[number % 2]
            audit(session, kind, f"ladder step-{number}", now=now - timedelta(minutes=number // 3))
    manager = staff.sign_in("data_manager")
    told = []
    for asked in ("/audit", "/audit?kind=record"):
        seen, path = [], asked
        while path:
            page = read_page(manager.get(path).text)
            seen += [each.text for each in page.all("td") if "step-" in each.text]
            path = next((each.attributes["href"] for each in page.all("a", rel="next")), "")
        told.append((len(seen), len(set(seen))))
    assert told == [(250, 250)] * 2


@on_sqlite
def test_who_looked_at_whom_has_filters_and_pages_of_its_own(staff: StaffCase) -> None:
    ada, ben = two_patients(staff)
    nurse, surgeon, store, now = (
        staff.account_id("nurse"),
        staff.account_id("surgeon"),
        staff.case.store,
        staff.case.now,
    )
    note_view(store, f"patient {ada}", nurse, now)
    note_view(store, f"patient {ben}", surgeon, now - timedelta(days=1))
    for hours in range(120):
        note_view(store, f"patient {ben}", nurse, now - timedelta(days=2, hours=hours))
    manager = staff.sign_in("data_manager")
    first = manager.get("/audit?show=views")
    assert len(listed(first.text)) == 100 and "Nell Nurse Y-0001" in listed(first.text)[0]
    older = next(each.attributes["href"] for each in read_page(first.text).all("a", rel="next"))
    assert len(listed(manager.get(older).text)) == 22
    assert len(listed(manager.get("/audit?show=views&patient=Y-0001").text)) == 1
    assert len(listed(manager.get(f"/audit?show=views&by={surgeon}").text)) == 1
    assert len(listed(manager.get("/audit?show=views&since=2026-06-14").text)) == 2
    with manager.get("/audit.csv?show=views&patient=Y-0002") as file:
        rows = list(csv.DictReader(io.StringIO(file.get_data(as_text=True))))
    assert len(rows) == 121 and {row["study_number"] for row in rows} == {"Y-0002"}


@on_sqlite
def test_the_file_holds_all_that_is_asked_for_and_nothing_that_a_spreadsheet_runs(staff: StaffCase) -> None:
    two_patients(staff)
    with staff.case.store.writing() as session:
        audit(session, "recall:file", "components", now=staff.case.now, maker="=1+1")
        for number in range(1200):
            audit(session, "ladder:installed", f"ladder {number}", now=datetime(2020, 1, 1, tzinfo=UTC))
    manager = staff.sign_in("data_manager")
    with manager.get("/audit.csv?patient=Y-0002") as file:
        rows = list(csv.DictReader(io.StringIO(file.get_data(as_text=True))))
    assert [row["action"] for row in rows] == ["operation:done", "patient:capacity"]
    assert rows[0]["what"] == "Operation written down as done" and rows[0]["at"] == "2026-06-14T09:00:00.000Z"
    with manager.get("/audit.csv") as file:
        every = list(csv.DictReader(io.StringIO(file.get_data(as_text=True))))
    assert len(every) == 1206 and not any(value.startswith("=") for row in every for value in row.values())


@on_sqlite
def test_a_long_hash_is_shortened_on_the_page_with_the_whole_in_its_title_and_whole_in_the_file(
    staff: StaffCase,
) -> None:
    whole = "53cf2e36e6040a3372a962d6902f4be78d4fb547df5ed9308c9e5d20a92bf55d"
    with staff.case.store.writing() as session:
        audit(session, "life_table:installed", "life table", now=staff.case.now, sha256=whole)
    manager = staff.sign_in("data_manager")
    page = manager.get("/audit").text
    assert f'<abbr title="{whole}">53cf2e36e604…</abbr>' in page and page.count(whole) == 1
    with manager.get("/audit.csv") as file:
        assert whole in file.get_data(as_text=True)


def test_an_address_keeps_what_was_asked_and_leaves_out_what_is_empty() -> None:
    asked = asked_in({"by": " 3 ", "show": "views", "since": "2026-06-01", "more": "x", "kind": ""})
    assert asked.address() == {"by": "3", "show": "views", "since": "2026-06-01"}
    assert asked.address(show="acts", since="") == {"by": "3"}
    first, last = asked_in({"since": "2026-03-29", "until": "2026-03-29"}).instants("Europe/Madrid")
    assert (
        first is not None and last is not None and last.astimezone(UTC) - first.astimezone(UTC) == timedelta(hours=23)
    )
