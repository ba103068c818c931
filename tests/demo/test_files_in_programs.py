"""The files of the invented clinic, read by plain Python, by the scripts that go with them, and by the programs these are for."""

import csv
import importlib.util
import json
import shutil
import subprocess
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from statistics import mean
from typing import Any

import pytest
from sqlalchemy import or_, select

from server.exports.scripts.generated import LONGEST_TEXT
from server.models import Response, Score, Timepoint
from server.queries.current import VALID_SCORE
from tests.demo.play import Demo

PYTHON_TYPES = {"integer": int, "number": float, "word": str, "text": str, "date": date, "instant": datetime}


def plain(folder: Path, file: str) -> list[dict[str, str]]:
    with (folder / file).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, strict=True))


def tables(folder: Path) -> list[str]:
    named = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))["files"]
    return [name for name in named if name.endswith(".csv") and name != "codebook.csv"]


@pytest.fixture(scope="session")
def read(demo_files: Path) -> Callable[[str], Any]:
    """`read` of the script that lies beside the files, as somebody who has nothing but the folder would load it."""
    spec = importlib.util.spec_from_file_location("read_beside_the_files", demo_files / "read.py")
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    return script.read  # type: ignore[no-any-return]


def test_a_mean_over_a_column_of_values_is_the_mean_of_the_scores(seeded: Demo, demo_files: Path) -> None:
    """With nothing but a CSV reader, as everybody begins: no code for a missing value may be in it."""
    found = [float(row["y1_pain"]) for row in plain(demo_files, "wide.csv") if row["y1_pain"]]
    with seeded.runtime.store.reading() as session:
        asked = or_(Timepoint.id == Response.timepoint_id, Timepoint.answer_from_id == Response.timepoint_id)
        query = select(Score.value).join(Response).join(Timepoint, asked)  # one answer may stand for two clocks
        of_year_1 = query.where(Timepoint.code == "year-1", Response.counted, VALID_SCORE, Score.instrument == "pain")
        known = [value for value in session.scalars(of_year_1) if value is not None]
    assert len(known) >= len(found) > 20
    assert 0 < mean(found) < 10
    assert set(found) <= set(known)


def test_no_number_goes_below_zero_but_days_before_surgery(read: Callable[[str], Any]) -> None:
    tables = [read(file) for file in ("long.csv", "wide.csv")]
    below = {
        name
        for table in tables
        for row in table.rows
        for name, value in row.items()
        if table.types[name] in ("number", "integer") and value is not None and value < 0
    }
    assert below == {"days_from_surgery", "base_days"}


def test_every_empty_score_has_a_reason_beside_it(demo_files: Path) -> None:
    rows = plain(demo_files, "wide.csv")
    empty = [(row["study_number"], name) for row in rows for name in row if name.endswith("_pain") and not row[name]]
    without = [
        (row["study_number"], name)
        for row in rows
        for name in row
        if name.endswith("_pain") and bool(row[name]) == bool(row[f"{name}_missing"])
    ]
    assert len(empty) > 20
    assert without == []


def test_the_script_for_python_gives_types_and_labels(demo_files: Path, read: Callable[[str], Any]) -> None:
    for file in tables(demo_files):
        table, rows = read(file), plain(demo_files, file)
        assert len(table.rows) == len(rows) > 0, file
        assert table.labels.keys() == rows[0].keys() and all(0 < len(label) <= 80 for label in table.labels.values())
        for row, text in zip(table.rows, rows, strict=True):
            for name, value in row.items():
                assert (value is None) == (text[name] == ""), (file, name)
                assert value is None or isinstance(value, PYTHON_TYPES[table.types[name]]), (file, name, value)
    wide = read("wide.csv")
    assert wide.value_labels["sex"]["female"] == "woman"
    assert {row["side"] for row in wide.rows} <= wide.value_labels["side"].keys()


def test_every_word_in_a_file_is_in_the_codebook_and_every_text_fits(
    demo_files: Path, read: Callable[[str], Any]
) -> None:
    """A word that no code stands for would be lost in R; a longer text would be cut in SPSS."""
    strange, longest = set(), 0
    for file in tables(demo_files):
        table = read(file)
        for row in table.rows:
            for name, value in row.items():
                if value is not None and table.types[name] == "word" and value not in table.value_labels[name]:
                    strange.add((file, name, value))
                if table.types[name] == "text":
                    longest = max(longest, len((value or "").encode()))
    assert strange == set()
    assert 0 < longest <= LONGEST_TEXT


def test_every_label_in_the_codebook_is_at_most_80_characters(demo_files: Path) -> None:
    assert [row["label"] for row in plain(demo_files, "codebook.csv") if not 0 < len(row["label"]) <= 80] == []


def test_every_file_says_the_day_it_speaks_of(demo_files: Path) -> None:
    day = json.loads((demo_files / "manifest.json").read_text(encoding="utf-8"))["as_of"]
    assert {row["as_of"] for file in (*tables(demo_files), "codebook.csv") for row in plain(demo_files, file)} == {day}


def test_the_script_for_r_reads_every_file(demo_files: Path, read: Callable[[str], Any], tmp_path: Path) -> None:
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: the script for R was not run")
    asks = [
        'source("read.R")',
        f"for (file in c({', '.join(map(json.dumps, tables(demo_files)))})) {{",
        '  data <- read_yearmark(file); cat(file, nrow(data), sum(!is.na(data)), class(data$as_of), "\\n") }',
        'wide <- read_yearmark("wide.csv")',
        'cat(mean(wide$y1_pain, na.rm = TRUE), attr(wide$y1_pain, "label"), levels(wide$sex)[1], class(wide$surgery_on), sep = "|")',
    ]
    (tmp_path / "ask.R").write_text("\n".join(asks), encoding="utf-8")
    said = subprocess.run(
        [r, "--vanilla", tmp_path / "ask.R"], cwd=demo_files, capture_output=True, text=True, check=True
    )
    *of_files, last = said.stdout.splitlines()
    known = {file: read(file).rows for file in tables(demo_files)}
    assert of_files == [
        f"{file} {len(rows)} {sum(value is not None for row in rows for value in row.values())} Date "
        for file, rows in known.items()
    ]
    value, *words = last.split("|")
    assert float(value) == pytest.approx(
        mean(row["y1_pain"] for row in known["wide.csv"] if row["y1_pain"] is not None), abs=1e-5
    )
    assert words == ["year-1: pain", "woman", "Date"]


def test_the_script_for_spss_runs_in_pspp(demo_files: Path, read: Callable[[str], Any], tmp_path: Path) -> None:
    pspp = shutil.which("pspp") or pytest.skip("PSPP is not installed here: the script for SPSS was not run")
    shutil.copytree(demo_files, tmp_path / "set")
    asks = (
        "INSERT FILE='read.sps'.\nGET FILE='wide.sav'.\nDISPLAY LABELS /VARIABLES=y1_pain.\n"
        "DESCRIPTIVES y1_pain /STATISTICS=MEAN.\nFREQUENCIES sex.\nGET FILE='long.sav'.\nDESCRIPTIVES value /STATISTICS=MEAN.\n"
    )
    (tmp_path / "set" / "ask.sps").write_text(asks, encoding="utf-8")
    said = subprocess.run(
        [pspp, "-O", "format=csv", "ask.sps"], cwd=tmp_path / "set", capture_output=True, text=True, check=False
    )
    assert said.returncode == 0 and "error" not in said.stdout, said.stdout[:2000]
    shown = list(csv.reader(said.stdout.splitlines()))
    for file, name in (("wide.csv", "y1_pain"), ("long.csv", "value")):
        values = [row[name] for row in read(file).rows if row[name] is not None]
        assert [read(file).labels[name], str(len(values)), f"{mean(values):.2f}"] in shown
    assert any("woman" in line for line in shown), "the words of a code"
    assert sorted(path.name for path in (tmp_path / "set").glob("*.sav")) == sorted(
        file.replace(".csv", ".sav") for file in tables(demo_files)
    )


def test_the_script_for_stata_names_every_file_and_column_and_says_that_it_was_not_run(demo_files: Path) -> None:
    """There is no Stata to run it: what is held here is that names and labels are such as Stata takes."""
    script = (demo_files / "read.do").read_text(encoding="utf-8")
    assert "was not run" in script
    lines = script.splitlines()
    for file in tables(demo_files):
        start = next(number for number, line in enumerate(lines) if line.startswith(f'import delimited `"{file}"'))
        end = next(number for number in range(start, len(lines)) if lines[number].startswith("save "))
        labelled = [line.split()[2] for line in lines[start:end] if line.startswith("label variable")]
        with (demo_files / file).open(encoding="utf-8", newline="") as written:
            assert labelled == next(csv.reader(written)), file
    codes = [line for line in lines if line.startswith("label define")]
    assert len(codes) > 5 and all(line.count('`"') == line.count("\"'") for line in codes)
