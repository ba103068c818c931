"""Who was watched, until when, and how it ended is what anyone can count from operations.csv, without this program."""

import random
from collections import Counter
from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from server.models import KnownStatus
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.outcomes.series.survival import Survival, survival_of
from tests.exports.clinic import Exporter, consent_to_research
from tests.storehouse import NOW, TODAY, add_follow_up, add_operation, add_patient

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
SEARCHED = range(2004, 2012)
DAYS_A_YEAR = 365.25


def fill(session: Session, chance: random.Random) -> None:
    """Seventy people with implants of twenty years: enrolled later or at once, revised, dead, written about or not."""
    for number in range(70):
        patient = add_patient(session, f"Y-{number:04d}")
        if number % 9:
            consent_to_research(session, patient)
        for side in chance.choice([("left",), ("left",), ("left", "right")]):
            done_on = date(2004, 1, 1) + timedelta(days=chance.randrange(7000))
            first = add_operation(
                session, patient, side, surgery_on=done_on, procedure="reverse", implant_type="reverse"
            )
            follow_up_on = done_on + timedelta(days=chance.choice([0, 0, 400, 2500]))
            add_follow_up(session, first, started_on=min(follow_up_on, TODAY))
            if chance.random() < 0.3:
                again_on = done_on + timedelta(days=chance.choice([0, 300, 900, 2500]))
                kind = chance.choice(["revision", "revision", "other"])
                procedure = "washout" if kind == "other" else "modular_exchange"
                add_operation(session, patient, side, surgery_on=min(again_on, TODAY), kind=kind, procedure=procedure)
            for days in chance.sample([200, 700, 1500, 3000, 5000], 2):
                session.add(known(patient.id, side, min(done_on + timedelta(days=days), TODAY)))
        if chance.random() < 0.25:
            last = max(each.surgery_on or TODAY for shoulder in patient.shoulders for each in shoulder.operations)
            patient.died_on = min(last + timedelta(days=chance.randrange(4000)), TODAY)
            patient.died_precision, patient.died_certainty = "day", "confirmed"


def known(patient_id: int, side: str, on: date) -> KnownStatus:
    return KnownStatus(
        patient_id=patient_id, known_on=on, source="register", side=side, implant="in_place", covers=True, made_at=NOW
    )


def read(exporter: Exporter) -> Survival:
    with exporter.store.reading() as session:
        record = read_record(session, TODAY)
        of = read_followings(session, record, searched=SEARCHED).of
    return survival_of(of.values(), Endpoint(), TODAY)


def day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def two_years_after(on: date) -> date:
    return on.replace(year=on.year + 2, day=28) if (on.month, on.day) == (2, 29) else on.replace(year=on.year + 2)


def counted(row: dict[str, str]) -> tuple[int, int, str]:
    """Of one row of operations.csv: days after surgery at which the watch began and ended, and how it ended."""
    surgery, revised, died = day(row["surgery_on"]), day(row["revised_on"]), day(row["died_on"])
    assert surgery is not None
    began = surgery if surgery.year in SEARCHED else max(surgery, day(row["followed_from"]) or TODAY)
    heard = max(surgery, day(row["last_implant_on"]) or surgery)
    if revised is not None:
        end, on = "event", revised
    elif died is not None and died <= two_years_after(max(heard, began)):
        end, on = "died", died
    else:
        lost = died is not None or two_years_after(heard) <= TODAY
        end, on = "known_earlier" if lost else "in_place", heard
    if on <= began and (end not in ("event", "died") or began > surgery):
        end = {"event": "revised_before", "died": "died_before"}.get(end, "nothing_known")
    return (began - surgery).days, (on - surgery).days, end


@pytest.mark.parametrize("seed", [3, 4])
def test_watches_and_their_ends_are_those_of_the_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(session, random.Random(seed))
    exporter.export()
    rows = [counted(row) for row in exporter.rows("operations.csv") if row["operation_kind"] == "index"]
    found = read(exporter)
    watched = [each for each in rows if not each[2].endswith(("before", "nothing_known"))]

    assert Counter(each.end for each in found.watched) == Counter(end for *_, end in watched)
    assert Counter(each.reason for each in found.apart) == Counter(end for *_, end in rows) - Counter(
        end for *_, end in watched
    )
    assert found.component_years == pytest.approx(
        sum(max(until, 0.5) - since for since, until, _ in watched) / DAYS_A_YEAR
    )
    assert {"event", "died", "in_place", "known_earlier", "nothing_known"} <= {end for *_, end in rows}
    years = [(at.time, at.watched, at.events, at.died) for at in found.standings()]
    assert len(years) > 5
    assert years == [(time, *standing(watched, time * DAYS_A_YEAR)) for time, *_ in years]
    assert found.failed_sums() == []


def standing(watched: list[tuple[int, int, str]], days: float) -> tuple[int, int, int]:
    ended = Counter(end for _since, until, end in watched if max(until, 0.5) <= days)
    return sum(since <= days < max(until, 0.5) for since, until, _end in watched), ended["event"], ended["died"]
