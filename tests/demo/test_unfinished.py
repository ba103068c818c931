"""A seed that was broken off is never served: the next start begins anew."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from server.cli import demo_command as command
from server.cli.demo_command import prepare
from server.demo.folder import MARK, Found, look_at
from server.demo.mail import letters
from server.demo.progress import Bar
from server.installation.runtime import Runtime
from server.queries.clock import the_clinic
from tests.demo.play import ADDRESS, PATIENTS, TODAY, Demo, study_numbers

Open = Callable[[Path], Runtime]


class Killed(BaseException):
    """As a Ctrl-C or a power cut."""


@dataclass
class Breaking:
    """Stands in for the progress bar, and is a power cut once the seed is this far."""

    at: float

    def __call__(self, share: float, word: str) -> None:
        if share > self.at:
            raise Killed


def broken_off(runtime: Runtime, monkeypatch: pytest.MonkeyPatch, *, at: float) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(command, "Bar", lambda _text: Breaking(at))
        with pytest.raises(Killed):
            prepare(runtime, base_url=ADDRESS, today=TODAY, patients=PATIENTS)


def test_a_seed_broken_off_in_the_middle_is_started_over_and_never_served(
    tmp_path: Path, again: Open, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    broken_off(again(tmp_path / "data"), monkeypatch, at=0.1)
    left = again(tmp_path / "data")
    assert study_numbers(left)
    broken_off(left, monkeypatch, at=-1.0)
    assert "starting it over" in capsys.readouterr().out
    assert study_numbers(left) == []
    assert (tmp_path / "data" / MARK).exists() and not (tmp_path / "data" / "demo.json").exists()
    assert look_at(left) is Found.UNFINISHED


def test_a_seed_broken_off_before_its_file_was_written_leaves_no_person_key_or_letter_behind(
    demo: Demo, again: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That a whole second seed gives the same clinic with other secrets takes a minute: `./run soak` shows it."""
    (demo.folder / "demo.json").unlink()
    (demo.folder / MARK).write_text("")
    (demo.folder / "mailbox" / "half.eml").write_text("half a letter")
    runtime = again(demo.folder)
    assert look_at(runtime) is Found.UNFINISHED
    broken_off(runtime, monkeypatch, at=-1.0)
    assert study_numbers(runtime) == []
    assert not (demo.folder / "mailbox" / "half.eml").exists()
    assert list((demo.folder / "keys" / "patient").rglob("*.key")) == []


def test_a_mark_beside_a_live_clinic_starts_nothing_over(demo: Demo, again: Open) -> None:
    with demo.runtime.store.writing() as session:
        clinic = the_clinic(session)
        clinic.clock_real_at = clinic.clock_shown_at = None
        session.flush()
        clinic.mode = "live"
    (demo.folder / MARK).write_text("")
    people = study_numbers(demo.runtime)
    with pytest.raises(command.DemoRefused, match="live clinic"):
        prepare(again(demo.folder), base_url=ADDRESS, today=TODAY, patients=PATIENTS)
    assert study_numbers(demo.runtime) == people


def test_a_finished_demo_bears_no_mark(seeded: Demo) -> None:
    assert not (seeded.folder / MARK).exists()
    assert look_at(seeded.runtime) is Found.DEMO


def test_the_bar_tells_how_far_it_is(tmp_path: Path) -> None:
    with (tmp_path / "out").open("w+") as out:
        bar = Bar("Inventing", out)
        for share in (0.0, 0.1, 0.21, 0.5, 1.0):
            bar(share, "2020")
        out.seek(0)
        assert out.read().splitlines() == ["Inventing: 0 %", "Inventing: 20 %", "Inventing: 40 %", "Inventing: 100 %"]


def test_nothing_is_left_of_letters_when_there_are_none(tmp_path: Path, again: Open) -> None:
    assert letters(again(tmp_path / "empty").settings, ZoneInfo("Europe/Madrid")) == []
