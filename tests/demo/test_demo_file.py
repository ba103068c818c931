"""Contract 1: `demo.json`, and what a start and a restart keep."""

import json
import socket
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import click
import pytest
from sqlalchemy import select

from server.cli.demo_command import DemoRefused, base_url_of, choose_port, prepare
from server.demo.seed import demo_entry
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, migrate, set_up_clinic
from server.models import StaffAccount
from server.queries.clock import the_clinic
from server.staff.account.passwords import password_matches
from server.store.folder_lock import FolderBusy
from server.timepoints.plans import shipped_plans
from tests.demo.play import ADDRESS, REAL_NOW, TODAY, Demo, study_numbers

Open = Callable[[Path], Runtime]
FORBIDDEN, FINE = 403, 200


def test_the_file_holds_what_the_contract_says(seeded: Demo) -> None:
    content = json.loads((seeded.folder / "demo.json").read_text(encoding="utf-8"))
    assert content == seeded.content
    assert set(content) == {"staff_url", "accounts", "patient_links"}
    assert content["staff_url"] == f"{ADDRESS}/sign-in"
    assert [each["role"] for each in content["accounts"]] == ["nurse", "surgeon", "data_manager"]
    members = {"study_number", "birth_date", "side", "timepoint", "state", "forms", "url"}
    assert all(set(each) == members for each in content["patient_links"])
    assert all(each["url"].startswith(f"{ADDRESS}/p/#") for each in content["patient_links"])
    assert {each["state"] for each in content["patient_links"]} == {"due", "nothing_due", "ended", "locked"}


def test_the_staff_url_answers(seeded: Demo) -> None:
    assert seeded.client.get(seeded.content["staff_url"].removeprefix(ADDRESS)).status_code == FINE


def test_every_account_has_the_password_that_is_printed(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        kept = {each.email: each for each in session.scalars(select(StaffAccount))}
    assert seeded.content["accounts"]
    for account in seeded.content["accounts"]:
        assert kept[account["email"]].role == account["role"]
        assert password_matches(account["password"], kept[account["email"]].password_hash)


def test_every_due_link_opens_with_its_birth_date_and_holds_the_forms_it_says(demo: Demo) -> None:
    assert len(demo.links("due")) >= 10
    for link in demo.links("due"):
        phone = demo.phone(link)
        status, body = phone.fetch()
        forms = phone.sheet["forms"]
        sides = {form["side"] for form in forms}
        assert (status, body["state"], len(forms)) == (FINE, "due", link["forms"])
        assert link["side"] == (sides.pop() if len(sides) == 1 else "both")
        assert link["timepoint"] == forms[0]["timepoint"]


def test_links_in_every_other_state_say_so(demo: Demo) -> None:
    for state in ("nothing_due", "ended"):
        for link in demo.links(state):
            status, body = demo.phone(link).fetch()
            assert (status, body["state"], link["forms"], link["side"]) == (FINE, state, 0, None)
    (locked,) = demo.links("locked")
    assert demo.phone(locked).fetch()[0] == FORBIDDEN


def test_a_wrong_birth_date_opens_nothing(demo: Demo) -> None:
    link = demo.links("due")[0]
    other = (date.fromisoformat(link["birth_date"]) + timedelta(days=1)).isoformat()
    assert demo.phone({**link, "birth_date": other}).fetch()[0] == FORBIDDEN


def test_there_is_something_due_of_each_kind(seeded: Demo) -> None:
    plan = shipped_plans()["standard@1"]
    codes = {each["timepoint"] for each in seeded.links("due")}
    assert {"baseline", "week-6", "year-1", "year-2", "year-5"} <= codes
    assert codes <= {entry.code for entry in plan.entries()}
    assert {each["side"] for each in seeded.links("due")} == {"left", "right", "both"}


def test_a_restart_keeps_people_links_and_passwords(demo: Demo, again: Open) -> None:
    restarted = prepare(again(demo.folder), base_url=ADDRESS, today=None)
    assert restarted == demo.content


def test_another_port_changes_the_address_and_no_token(demo: Demo, again: Open) -> None:
    runtime = again(demo.folder)
    moved = prepare(runtime, base_url="http://127.0.0.1:9021", today=None)
    tokens = [each["url"].partition("#")[2] for each in demo.content["patient_links"]]
    assert [each["url"] for each in moved["patient_links"]] == [f"http://127.0.0.1:9021/p/#{token}" for token in tokens]
    assert moved["accounts"] == demo.content["accounts"]
    with runtime.store.reading() as session:
        assert the_clinic(session).base_url == "http://127.0.0.1:9021"


def test_the_clock_shows_the_day_asked_for_and_goes_on_after_a_restart(demo: Demo, again: Open) -> None:
    assert demo.today == TODAY
    runtime = again(demo.folder)
    prepare(runtime, base_url=ADDRESS, today=None)
    assert Demo(runtime, {}).now == demo.now


def test_a_later_day_at_a_restart_sets_the_clock_forward(demo: Demo, again: Open) -> None:
    runtime = again(demo.folder)
    moved = Demo(runtime, prepare(runtime, base_url=ADDRESS, today=TODAY + timedelta(days=30)))
    assert moved.today == TODAY + timedelta(days=30)
    for link in moved.links("due"):
        phone = moved.phone(link)
        assert phone.fetch()[1]["state"] == "due"
        assert len(phone.sheet["forms"]) == link["forms"]


def test_an_earlier_day_at_a_restart_changes_nothing_and_says_so(
    demo: Demo, again: Open, capsys: pytest.CaptureFixture[str]
) -> None:
    runtime = again(demo.folder)
    prepare(runtime, base_url=ADDRESS, today=TODAY - timedelta(days=1))
    assert Demo(runtime, {}).today == TODAY
    assert f"already shows {TODAY}" in capsys.readouterr().out


def test_without_its_file_a_demo_still_starts_and_writes_it_again(demo: Demo, again: Open) -> None:
    (demo.folder / "demo.json").unlink()
    written = prepare(again(demo.folder), base_url=ADDRESS, today=None)
    assert written["patient_links"] == demo.content["patient_links"]
    assert written["accounts"] == []


def test_a_live_clinic_s_folder_is_refused_and_left_alone(tmp_path: Path, again: Open) -> None:
    runtime = again(tmp_path / "data")
    migrate(runtime)
    entry = ClinicEntry("live", **demo_entry("https://clinic.example").settings)
    with runtime.store.writing() as session:
        set_up_clinic(session, entry, runtime.keys, now=REAL_NOW)
    with pytest.raises(DemoRefused, match="live clinic"):
        prepare(runtime, base_url=ADDRESS, today=TODAY)
    assert study_numbers(runtime) == []
    assert not (runtime.settings.data / "demo.json").exists()


def test_a_folder_that_is_being_served_is_refused(demo: Demo, again: Open) -> None:
    with demo.runtime.lock.serving(), pytest.raises(FolderBusy):
        prepare(again(demo.folder), base_url=ADDRESS, today=None)


def test_a_busy_port_gives_the_next_free_one_with_a_word(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        found = choose_port("127.0.0.1", port)
    assert port < found <= port + 20
    assert f"Port {port} is in use" in capsys.readouterr().out


def test_port_nought_is_any_free_one() -> None:
    assert choose_port("127.0.0.1", 0) > 0


def test_no_free_port_is_a_plain_message(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(click.ClickException, match="--port"):
        choose_port("203.0.113.1", 8017)  # an address that this machine does not have (RFC 5737)


def test_every_address_is_shown_as_one_that_a_browser_can_open() -> None:
    assert base_url_of("127.0.0.1", 8017) == "http://127.0.0.1:8017"
    assert base_url_of("0.0.0.0", 8017) == "http://127.0.0.1:8017"
    assert base_url_of("::1", 8017) == "http://[::1]:8017"
