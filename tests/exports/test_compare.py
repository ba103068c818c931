"""What changed between two sets: counts by table, from the files alone."""

from pathlib import Path

from server.exports.compare import KEYS, compare
from server.exports.zipped import zipped


def written(folder: Path, **tables: str) -> Path:
    """A set in which every table not named is empty."""
    folder.mkdir()
    for file in KEYS:
        text = tables.get(file.removesuffix(".csv"), "study_number,side,operation\n")
        (folder / file).write_text(text, encoding="utf-8")
    return folder


def test_rows_are_added_changed_and_taken_back_whatever_their_order(tmp_path: Path) -> None:
    header = "study_number,side,operation,bmi,died_on,as_of\n"
    then = header + "Y-1,left,1,27,,2026-01-01\nY-1,left,2,27,,2026-01-01\nY-2,left,1,30,,2026-01-01\n"
    now = header + "Y-3,left,1,20,,2027-01-01\nY-2,left,1,31,2026-05-01,2027-01-01\nY-1,left,1,27,,2027-01-01\n"
    locked = zipped(written(tmp_path / "then", operations=then))
    (found,) = [each for each in compare(locked, written(tmp_path / "now", operations=now)) if not each.same]
    assert (found.file, found.then, found.now) == ("operations.csv", 3, 3)
    assert (found.added, found.changed, found.taken_back) == (1, 1, 1)
    assert found.columns == (("bmi", 1), ("died_on", 1))


def test_a_column_or_a_file_that_came_later_changes_no_row(tmp_path: Path) -> None:
    then = written(tmp_path / "then", operations="study_number,side,operation\nY-1,left,1\n")
    (then / "events.csv").unlink()
    now = written(
        tmp_path / "now",
        operations="study_number,side,operation,surgeon\nY-1,left,1,S-A\n",
        events="study_number,side,event\nY-1,left,1\n",
    )
    changed = {
        each.file: (each.added, each.changed, each.taken_back) for each in compare(zipped(then), now) if not each.same
    }
    assert changed == {"events.csv": (1, 0, 0)}


def test_a_column_that_came_later_into_a_key_makes_no_row_another(tmp_path: Path) -> None:
    then = written(tmp_path / "then", flow="surgery_year,side,step,operations\n2024,left,operated,3\n")
    flow = "surgery_year,side,done_here,step,operations\n2024,left,1,operated,4\n"
    (found,) = [each for each in compare(zipped(then), written(tmp_path / "now", flow=flow)) if not each.same]
    assert (found.file, found.added, found.changed, found.taken_back) == ("flow.csv", 0, 1, 0)


def test_rows_that_share_a_key_are_compared_one_by_one(tmp_path: Path) -> None:
    twice = (
        "instrument,scale,kind,threshold,population,citation,n\nsst@1,total,mcid,2,A,B,10\nsst@1,total,mcid,2,A,B,20\n"
    )
    then = written(tmp_path / "then", thresholds=twice)
    now = written(tmp_path / "now", thresholds=twice.replace("20", "21"))
    (found,) = [each for each in compare(zipped(then), now) if not each.same]
    assert (found.added, found.changed, found.taken_back, found.columns) == (0, 1, 0, (("n", 1),))
