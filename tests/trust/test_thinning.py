"""Which old copies go: pure, with invented instants."""

from datetime import UTC, datetime, timedelta

from server.trust.backup.thinning import Copied, no_longer_kept

NOW = datetime(2027, 6, 30, 2, 0, tzinfo=UTC)


def copies_of_the_last(days: int) -> list[Copied]:
    """One each night; its id says how many days ago."""
    return [Copied(str(ago), NOW - timedelta(days=ago)) for ago in range(days)]


def left_over(days: int, *kept_anyhow: str) -> list[int]:
    """Of nightly copies thinned every night, as days ago, the newest first."""
    there: list[Copied] = []
    for copy in reversed(copies_of_the_last(days)):
        there.append(copy)
        gone = no_longer_kept(there, now=copy.made_at, kept_anyhow=set(kept_anyhow))
        there = [each for each in there if each not in gone]
    return [int(each.backup_id) for each in reversed(there)]


def test_all_of_the_last_week_stay() -> None:
    assert no_longer_kept(copies_of_the_last(8), now=NOW) == []
    assert [each.backup_id for each in no_longer_kept(copies_of_the_last(9), now=NOW)] == ["8"]
    assert left_over(60)[:8] == list(range(8))


def test_then_one_a_week_one_a_month_and_one_a_year_for_good() -> None:
    kept = [NOW - timedelta(days=ago) for ago in left_over(4 * 365)]
    older = [each for each in kept if NOW - each > timedelta(days=7)]
    weeks = dict.fromkeys(f"{each:%G-%V}" for each in older if NOW - each <= timedelta(weeks=5))
    assert list(weeks) == [
        "2027-24",
        "2027-23",
        "2027-22",
        "2027-21",
    ]  # the fifth is that before this one: all of it stays
    assert len({f"{each:%Y-%m}" for each in older if NOW - each <= timedelta(days=366)}) >= 12
    assert {f"{each:%Y}" for each in older} == {"2023", "2024", "2025", "2026", "2027"}
    assert len(kept) < 35


def test_the_newest_stays_however_old_it_is() -> None:
    old = Copied("old", NOW - timedelta(days=5000))
    assert no_longer_kept([old], now=NOW) == []


def test_the_copy_of_the_last_proof_stays() -> None:
    crowd = [Copied(str(number), NOW - timedelta(days=40, hours=number)) for number in range(3)]
    newest = Copied("newest", NOW)
    gone = [each.backup_id for each in no_longer_kept([newest, *crowd], now=NOW)]
    assert gone == ["2", "1"]
    kept = no_longer_kept([newest, *crowd], now=NOW, kept_anyhow={"2"})
    assert [each.backup_id for each in kept] == ["1"]


def test_copies_of_one_instant_are_told_apart_the_same_way_each_time() -> None:
    same = [Copied(name, NOW - timedelta(days=90)) for name in "abc"] + [Copied("newest", NOW)]
    assert no_longer_kept(same, now=NOW) == no_longer_kept(same[::-1], now=NOW)
