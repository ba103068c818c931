"""A hundred envelopes in random order, with duplicates and drops, while the server is killed between any two statements: each once."""

import hashlib
import json
import random
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

from sqlalchemy import func, select

from server.clinic.enrol import ShoulderEntry
from server.models import Base, Envelope, Flag, Response, Score, Timepoint, Transition
from tests.clinic_case import Case
from tests.stranger import b64u, best

ENVELOPES = 100
SEED = 20260615


def sealed_forms(case: Case) -> list[dict[str, str]]:
    """A hundred forms of fifty patients, each as the phone would post it."""
    posts = []
    operated = case.today - timedelta(days=365)
    for number in range(ENVELOPES // 2):
        sides = [ShoulderEntry(side=side, surgery_on=operated) for side in ("left", "right")]
        phone = case.phone(case.enrol(*sides, first_name=f"Invented{number}"))
        phone.fetch()
        proof = b64u(phone.derived("proof"))
        posts += [
            {"envelope": phone.seal(phone.payload(form, best, case.now)), "proof": proof}
            for form in phone.sheet["forms"]
        ]
    return posts


def run_child(url: str, folder: Path, posts: list[list[dict[str, str]]], kill_at: int) -> int:
    (folder / "posts.json").write_text(json.dumps(posts))
    files = [str(folder), str(folder / "posts.json"), str(folder / "receipts")]
    command = [sys.executable, "-m", "tests.intake.killed_child", url, *files, str(kill_at)]
    return subprocess.run(command, check=False, capture_output=True, timeout=120).returncode


def acknowledged(folder: Path) -> set[str]:
    file = folder / "receipts"
    lines = file.read_text().splitlines() if file.exists() else []
    return {sha256 for status, sha256 in map(json.loads, lines) if status in ("stored", "duplicate")}


def test_each_of_a_hundred_envelopes_is_recorded_exactly_once_however_the_server_dies(
    case: Case, tmp_path: Path
) -> None:
    waiting = {hashlib.sha256(post["envelope"].encode()).hexdigest(): post for post in sealed_forms(case)}
    chance, kills, everything = random.Random(SEED), 0, dict(waiting)
    while waiting:
        sent = chance.sample(list(waiting.values()), k=min(len(waiting), chance.randint(5, 30)))
        sent += chance.sample(sent, k=len(sent) // 4)  # duplicates
        sent = [post for post in sent if chance.random() > 0.1]  # drops
        size = chance.randint(1, 20)
        posts = [sent[start : start + size] for start in range(0, len(sent), size)]
        kills += run_child(case.runtime.settings.database_url, tmp_path, posts, chance.randint(1, 900)) == -9
        for sha256 in acknowledged(tmp_path):
            waiting.pop(sha256, None)
    assert run_child(case.runtime.settings.database_url, tmp_path, [], 10**9) == 0
    assert kills >= 3
    with case.store.reading() as session:

        def count(table: type[Base]) -> int | None:
            return session.scalar(select(func.count()).select_from(table))

        assert count(Envelope) == count(Response) == len(everything) == ENVELOPES
        assert session.scalars(select(Envelope.state).distinct()).all() == ["recorded"]
        assert session.scalar(select(func.count()).where(Response.counted)) == ENVELOPES
        assert count(Score) == 6 * ENVELOPES
        assert count(Flag) == 2 * ENVELOPES
        answered = select(func.count()).where(Transition.status_after == "answered")
        assert session.scalar(answered) == ENVELOPES
        assert session.scalar(select(func.count()).where(Timepoint.answered_on.is_not(None))) == ENVELOPES
