"""What phones sent after the copy is gone on a restored clinic: each hears of it under its old link, and what it sends is recorded once."""

from sqlalchemy import select

from server.models import Response
from tests.clinic_case import Case
from tests.installation.brought_back import AGAIN, RESTORED, filled, id_of, phone_of, restored
from tests.installation.copied import Copied, copied, on_sqlite
from tests.stranger import Stranger, wire_instant

__all__ = ["copied", "on_sqlite"]


def told(phone: Stranger, case: Case) -> tuple[str | None, int]:
    """By a phone that goes on under its old link: the restore that it hears of, and how many forms are asked."""
    phone.post = case.post
    _status, body = phone.fetch()
    return body["restored_at"], len(phone.sheet["forms"])


def recorded(case: Case, name: str) -> list[bool]:
    """Of each form of the patient, whether it counts."""
    of_patient = select(Response.counted).where(Response.patient_id == id_of(case, name)).order_by(Response.id)
    with case.store.reading() as session:
        return list(session.scalars(of_patient))


def test_a_lost_form_is_open_again_under_the_same_link_which_names_the_restore_before_anybody_releases_the_clinic(
    copied: Copied,
) -> None:
    data, keys = copied.data(), copied.keys()
    ben, ada = phone_of(copied.case, "Ben"), phone_of(copied.case, "Ada")
    [receipt] = ben.send(filled(ben, copied.case))
    assert (receipt["status"], receipt["restored_at"]) == ("stored", None)
    assert copied.case.process().recorded == 1
    assert told(ben, copied.case) == (None, 0)
    with restored(copied, data, keys) as case:
        assert told(ben, case) == (wire_instant(RESTORED), 1)
        assert told(ada, case) == (wire_instant(RESTORED), 0)
        [again] = ben.send(filled(ben, case))
        assert (again["status"], again["restored_at"]) == ("stored", wire_instant(RESTORED))
        assert case.process().recorded == 1
        assert told(ben, case) == (wire_instant(RESTORED), 0)
        assert [recorded(case, name) for name in ("Ada", "Ben")] == [[True], [True]]


def test_an_envelope_that_was_lost_is_taken_as_new_and_one_that_was_not_is_a_duplicate(on_sqlite: Copied) -> None:
    ben = phone_of(on_sqlite.case, "Ben")
    kept = filled(ben, on_sqlite.case)
    before = on_sqlite.data("copies-before")
    ben.send(kept)
    assert on_sqlite.case.process().recorded == 1
    after, keys = on_sqlite.data("copies-after"), on_sqlite.keys()
    found = []
    for data, at in ((before, RESTORED), (after, AGAIN)):
        with restored(on_sqlite, data, keys, at) as case:
            ben.post = case.post
            [receipt] = ben.send(kept)
            case.process()
            found.append((receipt["status"], receipt["restored_at"], recorded(case, "Ben")))
    assert found == [("stored", wire_instant(RESTORED), [True]), ("duplicate", wire_instant(AGAIN), [True])]


def test_answers_that_were_not_lost_count_once_though_a_phone_gives_them_anew(on_sqlite: Copied) -> None:
    ben = phone_of(on_sqlite.case, "Ben")
    first, second = filled(ben, on_sqlite.case), filled(ben, on_sqlite.case)
    ben.send(first)
    on_sqlite.case.process()
    data, keys = on_sqlite.data(), on_sqlite.keys()
    with restored(on_sqlite, data, keys) as case:
        ben.post = case.post
        assert ben.send(second)[0]["status"] == "stored"
        case.process()
        assert recorded(case, "Ben") == [True, False]


def test_a_second_restore_from_the_same_copy_has_another_name(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    ben = phone_of(on_sqlite.case, "Ben")
    heard = []
    for at in (RESTORED, AGAIN):
        with restored(on_sqlite, data, keys, at) as case:
            heard.append(told(ben, case))
    assert heard == [(wire_instant(RESTORED), 1), (wire_instant(AGAIN), 1)]


def test_nobody_without_a_right_proof_hears_of_a_restore(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    ben = phone_of(on_sqlite.case, "Ben")
    with restored(on_sqlite, data, keys) as case:
        ben.post = case.post
        envelope = filled(ben, case)
        ben.born = ben.born.replace(year=1960)
        assert ben.fetch() == (403, {"code": "check"})
        refused = [*ben.send(envelope), *ben.send("no envelope")]
        assert [(each["status"], "restored_at" in each) for each in refused] == [("refused", False)] * 2
