"""How many gained what matters: by each shoulder's own implant type, and who could not gain it apart."""

from scoring.library import load_library
from server.outcomes.series.course import Change, Measure, course_of, said_in
from server.outcomes.series.followed import Followed
from server.outcomes.series.gains import Gains, gains_in
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from tests.outcomes.series.followed_case import answered, before_surgery, followings, shoulder

SST = load_library().instrument("sst@1")


def gains(*pairs: tuple[int, int], implant_type: str = "resurfacing_hemi") -> list[Gains]:
    return gains_of(
        *(shoulder(before_surgery(sst=one), answered(1, sst=two), implant_type=implant_type) for one, two in pairs)
    )


def gains_of(*shoulders: Followed) -> list[Gains]:
    read = followings(shoulders)
    strip = strip_of(read, read.record.rows, Sentence())
    found = course_of(read, strip, said_in(strip), Measure("sst@1/total", 0, 12, higher_is_better=True))
    change: Change = found.changes[1]
    return gains_in(change, SST, SST.by_scale["total"])


def test_a_gain_reaches_what_matters_a_smaller_one_and_a_loss_do_not() -> None:
    (found,) = gains((3, 12), (3, 4), (6, 2))
    assert (found.reached, found.n, found.no_room) == (1, 3, 0)
    assert found.threshold.kind == "mcid" and found.threshold in SST.thresholds


def test_who_stood_too_high_before_is_counted_apart() -> None:
    (found,) = gains((12, 12), (11, 12), (3, 12))
    assert (found.reached, found.n, found.no_room) == (1, 3, 2)


def test_each_shoulder_is_judged_by_the_threshold_of_its_own_implant() -> None:
    many = [
        shoulder(before_surgery(sst=3), answered(1, sst=12), implant_type=each)
        for each in ("reverse", "resurfacing_hemi", "none")
    ]
    found = gains_of(*many)
    assert sum(each.n for each in found) == 2 and sum(each.reached for each in found) == 2


def test_without_an_implant_nobody_is_judged() -> None:
    assert gains((3, 12), implant_type="none") == []
