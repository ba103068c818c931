"""Sends envelopes in random order, with duplicates and drops, to a server that is killed between any two statements."""

import hashlib
import json
import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from sqlalchemy import func, select

from server.clinic.entries import ShoulderEntry
from server.models import Base, Envelope, Flag, Link, Response, Score, Timepoint, Transition
from tests.clinic_case import Case
from tests.forked import exit_code
from tests.intake import killed_child
from tests.stranger import b64u, best

SCORES, FLAGS = 6, 6  # of each form with the answers of `best`, which say yes to each of the four kinds of event
LATEST_STATEMENT = 350


@dataclass
class Tally:
    """What was tried: server processes started, those that died, posts sent."""

    started: int = 0
    killed: int = 0
    posts: int = 0


def sealed_forms(case: Case, patients: int) -> dict[str, dict[str, str]]:
    """Two forms of each patient as the phone would post them, by their hash."""
    posts = []
    operated = case.today - timedelta(days=365)
    for number in range(patients):
        sides = [ShoulderEntry(side=side, surgery_on=operated) for side in ("left", "right")]
        phone = case.phone(case.enrol(*sides, first_name=f"Invented{number}"))
        phone.fetch()
        proof = b64u(phone.derived("proof"))
        posts += [
            {"envelope": phone.seal(phone.payload(form, best, case.now)), "proof": proof}
            for form in phone.sheet["forms"]
        ]
    return {hashlib.sha256(post["envelope"].encode()).hexdigest(): post for post in posts}


def deliver_all(case: Case, folder: Path, seed: int, *, patients: int) -> Tally:
    """Sends until every envelope has its receipt, as phones do; then lets one server finish undisturbed."""
    unacknowledged, chance, tally = sealed_forms(case, patients), random.Random(seed), Tally()
    while unacknowledged:
        posts = _disorder(unacknowledged, chance)
        tally.started += 1
        tally.posts += len(posts)
        tally.killed += run_child(case, folder, posts, chance.randint(1, LATEST_STATEMENT)) == -9
        for sha256 in acknowledged(folder):
            unacknowledged.pop(sha256, None)
    assert run_child(case, folder, [], 10**9) == 0
    return tally


def _disorder(unacknowledged: Mapping[str, dict[str, str]], chance: random.Random) -> list[list[dict[str, str]]]:
    sent = chance.sample(list(unacknowledged.values()), k=min(len(unacknowledged), chance.randint(5, 40)))
    sent += chance.sample(sent, k=len(sent) // 4)  # duplicates
    sent = [post for post in sent if chance.random() > 0.1]  # drops
    size = chance.randint(1, 20)
    return [sent[start : start + size] for start in range(0, len(sent), size)]


def run_child(case: Case, folder: Path, posts: list[list[dict[str, str]]], kill_at: int) -> int:
    (folder / "posts.json").write_text(json.dumps(posts))
    files = [str(folder), str(folder / "posts.json"), str(folder / "receipts")]
    url = case.runtime.settings.database_url
    return exit_code(killed_child.main, url, *files, str(kill_at))


def acknowledged(folder: Path) -> set[str]:
    file = folder / "receipts"
    lines = file.read_text().splitlines() if file.exists() else []
    return {sha256 for status, sha256 in map(json.loads, lines) if status in ("stored", "duplicate")}


def wrong_counts(case: Case, *, patients: int) -> dict[str, int]:
    """What is not there exactly once for each envelope, and by how much; empty when nothing was lost or doubled."""
    envelopes = 2 * patients
    with case.store.reading() as session:

        def count(table: type[Base]) -> int:
            return session.scalar(select(func.count()).select_from(table)) or 0

        def where(*conditions: object) -> int:
            return session.scalar(select(func.count()).where(*conditions)) or 0  # type: ignore[arg-type]

        off = {
            "envelopes": count(Envelope) - envelopes,
            "not recorded": where(Envelope.state != "recorded"),
            "responses": count(Response) - envelopes,
            "counted": where(Response.counted) - envelopes,
            "scores": count(Score) - SCORES * envelopes,
            "flags": count(Flag) - FLAGS * envelopes,
            "transitions": where(Transition.status_after == "answered") - envelopes,
            "timepoints": where(Timepoint.answered_on.is_not(None)) - envelopes,
            "stale sheets": where(Link.sheet_stale),
        }
    return {name: by for name, by in off.items() if by}
