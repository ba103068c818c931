"""Answers given before a restore keep their day, though what the phone had fetched is not known on the restored clinic."""

from datetime import datetime, timedelta

from sqlalchemy import select

from server.models import Response
from server.queries.clock import the_clinic
from tests.clinic_case import NOW, Case
from tests.installation.brought_back import id_of, phone_of, restored
from tests.installation.copied import Copied, copied, on_sqlite
from tests.stranger import Stranger, best

__all__ = ["copied", "on_sqlite"]

ANSWERED, LATER, LATER_STILL = NOW + timedelta(hours=1), NOW + timedelta(days=70), NOW + timedelta(days=71)


def publish_anew(case: Case, telephone: str) -> None:
    """What every sheet shows has changed."""
    with case.store.writing() as session:
        the_clinic(session).phone = telephone
    case.publish(id_of(case, "Ben"))


def answered(ben: Stranger, case: Case) -> str:
    """Offline, an hour after everything else, and not sent yet."""
    case.now = ANSWERED
    return ben.seal(ben.payload(ben.sheet["forms"][0], best, ANSWERED))


def fetched(ben: Stranger, case: Case) -> int:
    ben.post = case.post
    assert ben.fetch()[0] == 200
    return int(ben.sheet["revision"])


def recorded(case: Case) -> list[tuple[datetime, str]]:
    """When the forms of Ben count as finished, and how that lies to their window."""
    found = select(Response.finished_at, Response.window_state).where(Response.patient_id == id_of(case, "Ben"))
    with case.store.reading() as session:
        return [(row.finished_at, row.window_state) for row in session.execute(found)]


def test_an_answer_to_a_lost_sheet_is_not_dated_by_the_fetch_of_a_later_one(copied: Copied) -> None:
    data, keys = copied.data(), copied.keys()
    ben = phone_of(copied.case, "Ben")
    publish_anew(copied.case, "+34 555 111 222")
    lost = fetched(ben, copied.case)
    envelope = answered(ben, copied.case)
    with restored(copied, data, keys, LATER) as case:
        publish_anew(case, "+34 555 333 444")
        assert fetched(ben, case) > lost
        assert ben.send(envelope)[0]["status"] == "stored"
        assert case.process().recorded == 1
        assert recorded(case) == [(ANSWERED, "in")]


def test_nor_by_the_first_fetch_that_the_restored_clinic_knows_of(on_sqlite: Copied) -> None:
    """The copy held the sheet, and was made before the phone came for it."""
    data, keys = on_sqlite.data(), on_sqlite.keys()
    ben = phone_of(on_sqlite.case, "Ben")
    held = fetched(ben, on_sqlite.case)
    envelope = answered(ben, on_sqlite.case)
    with restored(on_sqlite, data, keys, LATER) as case:
        assert fetched(ben, case) == held
        publish_anew(case, "+34 555 333 444")
        fetched(ben, case)
        ben.send(envelope)
        assert case.process().recorded == 1
        assert recorded(case) == [(ANSWERED, "in")]


def test_an_answer_to_a_sheet_of_the_restored_clinic_is_dated_by_its_fetch(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    ben = phone_of(on_sqlite.case, "Ben")
    with restored(on_sqlite, data, keys) as case:
        publish_anew(case, "+34 555 333 444")
        fetched(ben, case)
        first = case.now
        ben.send(ben.seal(ben.payload(ben.sheet["forms"][0], best, NOW - timedelta(days=30))))
        assert case.process().recorded == 1
        assert [at for at, _state in recorded(case)] == [first]


def test_restored_twice_from_one_copy_no_sheet_has_the_revision_of_another(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    ben, found = phone_of(on_sqlite.case, "Ben"), []
    publish_anew(on_sqlite.case, "+34 555 111 222")
    found.append(fetched(ben, on_sqlite.case))
    for at in (LATER, LATER_STILL):
        with restored(on_sqlite, data, keys, at) as case:
            for telephone in ("+34 555 333 444", "+34 555 333 555"):
                publish_anew(case, telephone)
                found.append(fetched(ben, case))
    assert found == sorted(set(found))
    assert found[-1] < 2**31
