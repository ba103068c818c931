"""The files as files: safe cells, same bytes, no person in them, whole or not there."""

import csv
import errno
import hashlib
import json
import os
import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.library import load_library
from scoring.threshold_choice import choose_threshold
from server.clinic.history import TABLES as FIELDS
from server.crypto.fields import FieldRing
from server.exports import ExportProblem, folder, missing
from server.exports.cells import GUARD, Table, cell
from server.exports.column import LONGEST_LABEL, LONGEST_NAME
from server.exports.columns import COLUMNS, LONG, columns_of
from server.exports.flow import LOG_COLUMNS
from server.exports.records import COMPONENT_COLUMNS, EVENT_COLUMNS, FINDING_COLUMNS
from server.exports.surgeons import surgeon_codes
from server.exports.thresholds import threshold_rows
from server.exports.wide import scale_name, wide_columns
from server.fields.leaving import exported
from server.fields.operation_words import threshold_type
from server.models import KnownStatus
from server.timepoints.plan_file import check_plan_file
from server.timepoints.plan_install import install_plan
from tests.exports.clinic import CANARY, SURGERY, Exporter, ada_answers, add_patient
from tests.storehouse import NOW, add_follow_up, add_operation
from tests.timepoints.making import plan_file

TABLES = (
    "long.csv", "wide.csv", "operations.csv", "schedule.csv",
    "events.csv", "findings.csv", "components.csv", "log.csv", "flow.csv", "thresholds.csv",
)  # fmt: skip
FILES = (*TABLES, "codebook.csv", "read.py", "read.R", "read.sps", "read.do")


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1+1", "＋1", "－1", "＠A1", "'=1", "''＝1"]
)
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text: str) -> None:
    assert cell(text) == f"'{text}"


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (-77, "-77"),
        (-2.5, "-2.5"),
        (9.0, "9"),
        (True, "1"),
        (None, ""),
        (date(2024, 2, 29), "2024-02-29"),
        (datetime(2024, 2, 29, 23, 59, tzinfo=UTC), "2024-02-29T23:59:00.000Z"),
        ("a=b", "a=b"),
    ],
)
def test_numbers_dates_and_other_text_are_written_as_they_are(value: object, written: str) -> None:
    assert cell(value) == written


def test_a_cell_of_text_from_the_clinic_is_made_safe_in_the_file(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    (row,) = exporter.rows("operations.csv")
    assert (row["implant_model"], row["implant_lot"], row["bmi"]) == ("'=1+1", "L1 | L2", "27.5")


ANY_TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"))
CELLS = ANY_TEXT | st.tuples(st.sampled_from("'=+-@＝＋－＠\t\r\n"), st.sampled_from("'=＝x"), ANY_TEXT).map("".join)


@given(rows=st.lists(st.lists(CELLS, min_size=2, max_size=2)))
def test_what_is_written_is_read_back_and_no_cell_is_run(
    rows: list[list[str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.getbasetemp() / "any.csv"
    with file.open("w", encoding="utf-8", newline="") as out:
        table = Table(out, ["a", "b"])
        for row in rows:
            table.write(row)
    with file.open(encoding="utf-8", newline="") as written:
        back = list(csv.reader(written, strict=True))[1:]
    assert len(back) == len(rows) == table.rows
    for got, given_row in zip(back, rows, strict=True):
        assert [as_recorded(each) for each in got] == given_row
        assert not any(each.startswith(RUN) for each in got)


RUN = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")


def as_recorded(text: str) -> str:
    """As the codebook says: one apostrophe off, where the rest would be run or begins with apostrophes before what would be."""
    return text[1:] if text.startswith("'") and text.lstrip("'").startswith(RUN) else text


def test_no_file_holds_a_name_a_contact_or_an_identifying_answer(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    contents = {
        file: (exporter.folder / "set" / file).read_text(encoding="utf-8") for file in (*FILES, "manifest.json")
    }
    secrets = (CANARY, "600 999 111", "1957-03-28")
    assert [(file, secret) for file, text in contents.items() for secret in secrets if secret in text] == []
    assert "Y-0001" in contents["long.csv"]


def test_the_same_data_gives_the_same_bytes(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
        add_patient(session, "Y-0002")
    exporter.export("first")
    exporter.export("second")
    first, second = (
        {file.name: file.read_bytes() for file in (exporter.folder / name).iterdir()} for name in ("first", "second")
    )
    assert first.keys() == {*FILES, "manifest.json"}
    assert first == second


def test_the_manifest_names_every_file_with_its_hash(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    manifest = json.loads((exporter.folder / "set" / "manifest.json").read_text(encoding="utf-8"))
    assert set(manifest["files"]) == set(FILES)
    for name, entry in manifest["files"].items():
        content = (exporter.folder / "set" / name).read_bytes()
        assert entry["sha256"] == hashlib.sha256(content).hexdigest()
        assert entry["bytes"] == len(content)
        if not name.endswith(".csv"):
            continue
        assert entry["rows"] == len(exporter.rows(name))
        assert content.count(b"\r\n") == content.count(b"\n") == entry["rows"] + 1
    assert (manifest["as_of"], manifest["counts"]["patients"]) == ("2026-06-15", 1)


def test_an_earlier_export_is_replaced_and_anything_else_left_alone(exporter: Exporter) -> None:
    exporter.export()
    exporter.export()
    foreign = exporter.folder / "set" / "notes.txt"
    foreign.write_text("mine")
    with pytest.raises(ExportProblem, match="nothing was changed"):
        exporter.export()
    assert foreign.read_text() == "mine"
    assert sorted(each.name for each in exporter.folder.iterdir() if each.name.startswith(".")) == []


def test_an_empty_folder_is_used_and_a_file_refused(exporter: Exporter) -> None:
    (exporter.folder / "empty").mkdir()
    exporter.export("empty")
    assert exporter.rows("long.csv", "empty") == []
    (exporter.folder / "file").write_text("")
    with pytest.raises(ExportProblem, match="not a folder"):
        exporter.export("file")


def test_a_full_disk_leaves_the_earlier_export_and_nothing_half_written(
    exporter: Exporter, monkeypatch: pytest.MonkeyPatch
) -> None:
    exporter.export()
    before = (exporter.folder / "set" / "long.csv").stat().st_ino

    def full(_descriptor: int) -> Any:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ExportProblem, match="the disk is full"):
        exporter.export()
    assert (exporter.folder / "set" / "long.csv").stat().st_ino == before
    assert [each.name for each in exporter.folder.iterdir() if each.name.startswith(".")] == []


def test_a_write_to_a_device_that_is_full_is_told_apart(tmp_path: Path) -> None:
    with pytest.raises(ExportProblem, match="the disk is full"), folder.new_folder(tmp_path / "set"):
        with Path("/dev/full").open("w") as device:
            device.write("x")
    assert list(tmp_path.iterdir()) == []


def test_names_of_columns_are_short_plain_and_unique() -> None:
    library = load_library()
    scales = sorted({(each.id, scale.scale) for each in library.definitions.values() for scale in each.scales})
    every = wide_columns(["baseline", "week-6", "year-60"], scales, recalled=True)
    wide, fixed = [column.name for column in every], [column.name for column in COLUMNS]
    assert len(wide) == len(set(wide)) > len(scales)
    assert len(fixed) == len(set(fixed)) > 50
    plain = re.compile(rf"[a-z0-9_]{{1,{LONGEST_NAME}}}")
    assert [name for name in wide + fixed if not plain.fullmatch(name)] == []
    assert [each.label for each in (*every, *COLUMNS) if not 0 < len(each.label) <= LONGEST_LABEL] == []


def test_a_scale_whose_column_would_be_too_long_is_refused() -> None:
    with pytest.raises(ValueError, match="shorter name"):
        scale_name("year-10", "instrument", "a" * 20)


def test_the_codebook_has_every_column_item_scale_and_reason(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    book = exporter.rows("codebook.csv")
    for file in TABLES:
        listed = [
            row["name"]
            for row in book
            if row["file"] == file
            and not row["type"].startswith(("item", "score", "missing", "wording", "plan", "basis"))
        ]
        with (exporter.folder / "set" / file).open(encoding="utf-8", newline="") as written:
            assert next(csv.reader(written)) == listed
    names = {row["name"] for row in book}
    assert {"sst@1/1", "sst@1/total", "since@1/2", "declined", "missed"} <= names
    assert "since@1/6a" not in names
    (first,) = [row for row in book if row["name"] == "sst@1/1"]
    assert first["codes"] == "1 = Yes | 0 = No"
    assert [row["note"] for row in book if row["name"] == "declined"] == ["asked, and the person chose not to answer"]
    assert [row["note"] for row in book if row["file"] == "*.csv"] == [GUARD]
    assert not any(cell.startswith("'") for row in book for cell in row.values())


def test_each_reason_for_a_missing_value_has_one_meaning() -> None:
    words = [each.word for each in missing.EVERY]
    assert len(words) == len(set(words)) > 15


def test_every_column_of_long_says_where_it_comes_from() -> None:
    assert all(column.label and column.type for column in columns_of(LONG))


def test_the_codebook_has_the_windows_of_the_plan(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
        other = add_operation(session, add_patient(session, "Y-0002"), surgery_on=SURGERY)
        add_follow_up(session, other).plan_id = "close"
    exporter.export()
    found = {
        row["name"]: (row["range"], row["note"])
        for row in exporter.rows("codebook.csv")
        if row["type"] == "plan: window"
    }
    assert found["standard@1/baseline"][0] == "enrolment to the day of surgery"
    assert found["standard@1/week-6"][0] == "28 to 63"
    assert found["standard@1/year-1"][0] == "305 to 425"
    assert found["standard@1/year-5"][0] == "anniversary -90 to anniversary +90"
    assert "sst@1" in found["standard@1/year-1"][1] and "due" in found["standard@1/year-1"][1]
    assert (found["close@1/month-3"][0], found["close@1/month-6"][0]) == ("75 to 120", "150 to 215")
    assert "return@1" in found["close@1/month-3"][1] and "sst@1" in found["close@1/month-6"][1]


def test_each_threshold_says_in_whom_it_was_found_and_for_whom_pages_use_it(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    rows = exporter.rows("thresholds.csv")
    definition = load_library().instrument("sst@1")
    assert [float(row["threshold"]) for row in rows if row["instrument"] == "sst@1"] == [
        each.value for each in definition.thresholds
    ]
    assert any(row["n"] and row["anchor"] and row["follow_up"] and row["citation"] for row in rows)
    for implant in ("resurfacing_hemi", "reverse", "unknown"):
        used = [row for row in rows if row["kind"] == "mcid" and implant in row["used_for"].split(" | ")]
        chosen = choose_threshold(definition, "total", "mcid", implant=threshold_type(implant))
        assert chosen is not None
        assert [float(row["threshold"]) for row in used if row["scale"] == "total"] == [chosen.value], implant


def test_each_threshold_says_for_whom_a_gain_that_reaches_it_is_called_improved() -> None:
    every = sorted(load_library().definitions)
    rows = [each for each in threshold_rows(every, load_library(), NOW.date()) if each.used_for]
    assert all(set(row.improved_for) <= set(row.used_for) for row in rows)
    spread = [row for row in rows if row.threshold.distribution_based and row.threshold.kind == "mcid"]
    asked = [row for row in rows if not row.threshold.distribution_based and row.threshold.kind == "mcid"]
    assert spread != [] and {row.improved_for for row in spread} == {()}
    assert any(row.improved_for for row in asked) and not any(
        row.improved_for for row in rows if row.threshold.kind != "mcid"
    )


def test_every_field_that_leaves_the_clinic_stands_in_each_file_that_it_names() -> None:
    columns = (*COLUMNS, *EVENT_COLUMNS, *FINDING_COLUMNS, *COMPONENT_COLUMNS, *LOG_COLUMNS)
    written = {(file, column.name) for column in columns for file in column.files}
    named = {
        (f"{file}.csv", field.column)
        for fields in FIELDS.values()
        for field in exported(fields)
        for file in (field.export.files if field.export else ())
    }
    assert len(named) > 100
    assert named - written == set()


def test_a_surgeon_is_a_code_that_stays_the_same_and_tells_no_name(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        for number, name in enumerate(["Dr Blackwood", " dr  BLACKWOOD ", "Dr Whitefield", None]):
            add_operation(session, add_patient(session, f"Y-000{number}"), surgery_on=SURGERY, surgeon=name)
    exporter.export("first")
    exporter.export("second")
    codes, again = ([row["surgeon"] for row in exporter.rows("operations.csv", name)] for name in ("first", "second"))
    assert codes == again
    assert codes[0] == codes[1] != codes[2] and codes[3] == ""
    assert re.fullmatch("S-[A-Z2-7]{8}", codes[0])
    other = surgeon_codes(FieldRing({"another1": b"\x01" * 32}, "another1"))
    assert other("Dr Blackwood") not in codes


def test_withdrawal_and_transfer_are_told_with_their_days(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(
            session, withdrew_on=date(2025, 1, 2), withdrawal_extent="records", records_closed_on=date(2025, 2, 2)
        )
        ben = add_patient(session, "Y-0002", transferred_on=date(2025, 3, 4))
        for person in (ada, ben):
            add_operation(session, person, surgery_on=SURGERY)
    exporter.export()
    first, second = exporter.rows("operations.csv")
    assert (first["withdrawn_on"], first["withdrawal_extent"], first["transferred_on"]) == ("2025-01-02", "records", "")
    assert (first["records_closed_on"], first["erasure_asked_on"]) == ("2025-02-02", "")
    assert (second["withdrawn_on"], second["transferred_on"]) == ("", "2025-03-04")


def test_a_death_says_by_whom_how_surely_and_how_exactly_it_is_known(exporter: Exporter) -> None:
    told = {"died_on": date(2025, 5, 1), "died_source": "relative", "died_certainty": "reported"}
    with exporter.store.writing() as session:
        for number, precision in enumerate(["month", None]):
            add_operation(
                session, add_patient(session, f"Y-000{number}", **told, died_precision=precision), surgery_on=SURGERY
            )
    exporter.export()
    rows = [
        tuple(row[f"died_{each}"] for each in ("on", "precision", "source", "certainty"))
        for row in exporter.rows("operations.csv")
    ]
    assert rows == [("2025-05-01", each, "relative", "reported") for each in ("month", "day")]


def test_an_implant_that_was_operated_again_unrecorded_is_not_told_as_in_place(exporter: Exporter) -> None:
    said = {"known_on": date(2025, 5, 1), "side": "left", "made_at": NOW}
    with exporter.store.writing() as session:
        patient = add_patient(session)
        for side in ("left", "right"):
            add_operation(session, patient, side, surgery_on=SURGERY)
        session.add(KnownStatus(patient_id=patient.id, source="patient", implant="operated", **said))
        said["side"] = "right"
        session.add(KnownStatus(patient_id=patient.id, source="relative", implant="in_place", **said))
    exporter.export()
    left, right = exporter.rows("operations.csv")
    assert (left["last_implant_on"], left["last_implant_state"]) == ("2025-05-01", "operated_not_recorded")
    assert (left["last_implant_reported_on"], left["last_implant_reported_state"]) == ("", "")
    assert (right["last_implant_on"], right["last_implant_state"]) == (SURGERY.isoformat(), "in_place")
    assert (right["last_implant_reported_on"], right["last_implant_reported_state"]) == ("2025-05-01", "in_place")


def test_the_codebook_says_where_each_plan_came_from(exporter: Exporter) -> None:
    data = plan_file()
    with exporter.store.writing() as session:
        checked = check_plan_file(data, load_library())
        install_plan(session, checked, load_library(), now=NOW, by_id=None)
        ada_answers(exporter, session)
        other = add_operation(session, add_patient(session, "Y-0002"), surgery_on=SURGERY)
        add_follow_up(session, other).plan_id = "harbour"
    exporter.export()
    notes = {row["name"]: row["note"] for row in exporter.rows("codebook.csv") if row["type"] == "plan"}
    assert notes == {
        "standard@1": "It comes with the program.",
        "harbour@1": f"Installed by the clinic on {NOW:%Y-%m-%d}; SHA-256 {hashlib.sha256(data).hexdigest()}",
    }
