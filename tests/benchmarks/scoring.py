"""A million answer sheets of twelve items, read and scored, beside a loop written by hand for one instrument.

SST has no rule for blanks; the Oxford score has one (up to two blanks by the person's mean), and a second scale made from the first. One
sheet in twenty has one blank, since most forms are answered whole. Both sides take the same dictionaries, refuse an answer outside its
codes, and make the same ScaleScore tuples: value, status, reason in words, counts, method. The floor knows its instrument by heart.
"""

import random
import time
from collections.abc import Callable, Iterator
from typing import Any

from scoring.answers import AnswerProblem, read_sheet
from scoring.definition import Better, Definition
from scoring.library import load_library
from scoring.score import ScaleScore, score
from tests.benchmarks.table import Row

SHEETS = 1_000_000
DIFFERENT = 20_000  # sheets; they are taken again and again, so that making them does not outlast measuring
BLANK_IN = 20
NAMES = tuple(str(number) for number in range(1, 13))
Sheet = dict[str, Any]
ByHand = Callable[[Sheet], tuple[ScaleScore, ...]]


def measure(sheets: int = SHEETS) -> list[Row]:
    library = load_library()
    sst, oss = library.instrument("sst@1"), library.instrument("oss@1")
    return [
        _row("scoring, SST, 1 sheet in 20 with a blank (no rule for it)", sst, _sst_by_hand(sst), 1, sheets),
        _row("scoring, OSS, 1 sheet in 20 with a blank (prorated)", oss, _oss_by_hand(oss), 4, sheets),
    ]


def _row(name: str, definition: Definition, by_hand: ByHand, most: int, sheets: int) -> Row:
    given = list(_sheets(most))
    assert all(score(definition, read_sheet(definition, sheet)) == by_hand(sheet) for sheet in given)
    _refuses(lambda sheet: score(definition, read_sheet(definition, sheet)), most)
    _refuses(by_hand, most)
    times = sheets // DIFFERENT
    measured = _seconds(lambda sheet: score(definition, read_sheet(definition, sheet)), given, times)
    return Row(name, sheets / measured, sheets / _seconds(by_hand, given, times), "sheets/s", at_least=0.2)


def _sheets(most: int) -> Iterator[Sheet]:
    chance = random.Random(12)
    for number in range(DIFFERENT):
        sheet: Sheet = {name: chance.randint(0, most) for name in NAMES}
        if number % BLANK_IN == 0:
            sheet[chance.choice(NAMES)] = None
        yield sheet


def _refuses(way: ByHand, most: int) -> None:
    for wrong in (most + 1, -1, "1", True, 1.0):
        try:
            way({**dict.fromkeys(NAMES, 0), "5": wrong})
        except AnswerProblem:
            continue
        raise AssertionError(f"{wrong!r} was accepted")


def _seconds(way: ByHand, sheets: list[Sheet], times: int) -> float:
    began = time.perf_counter()
    for _ in range(times):
        for sheet in sheets:
            way(sheet)
    return time.perf_counter() - began


def _sum_of(sheet: Sheet, most: int) -> tuple[int, int]:
    """The sum of what was answered, and how many items were."""
    total = answered = 0
    for name in NAMES:
        value = sheet[name]
        if type(value) is int and 0 <= value <= most:
            total += value
            answered += 1
        elif value is not None:
            raise AnswerProblem({f"item {name}": ["is not allowed"]})
    if len(sheet) != len(NAMES):
        raise AnswerProblem({"sheet": ["has an item that there is not"]})
    return total, answered


def _sst_by_hand(definition: Definition) -> ByHand:
    words = [each.method for each in definition.scales]
    rest: tuple[tuple[int, int], Better] = (0, 12), "higher"

    def scored(sheet: Sheet) -> tuple[ScaleScore, ...]:
        total, answered = _sum_of(sheet, 1)
        blank = 12 - answered
        if not blank:
            return (
                ScaleScore("sst", "1", "total", total, "scored", None, 12, 12, words[0], *rest),
                ScaleScore(
                    "sst", "1", "total_if_blanks_no", total, "scored", None, 12, 12, words[1], *rest, ("bound",)
                ),
                ScaleScore(
                    "sst", "1", "total_if_blanks_yes", total, "scored", None, 12, 12, words[2], *rest, ("bound",)
                ),
            )
        why = f"{answered} of 12 items answered, all needed ({blank} not answered)"
        no, yes = (f"{blank} of 12 items blank, each counted as {code} ({blank} not answered)" for code in (0, 1))
        return (
            ScaleScore("sst", "1", "total", None, "not_scored", why, answered, 12, words[0], *rest),
            ScaleScore("sst", "1", "total_if_blanks_no", total, "scored", no, answered, 12, words[1], *rest, ("bound",)),
            ScaleScore("sst", "1", "total_if_blanks_yes", total + blank, "scored", yes, answered, 12, words[2], *rest, ("bound",)),
        )  # fmt: skip

    return scored


def _oss_by_hand(definition: Definition) -> ByHand:
    words = [each.method for each in definition.scales]

    def scored(sheet: Sheet) -> tuple[ScaleScore, ...]:
        total, answered = _sum_of(sheet, 4)
        blank = 12 - answered
        if not blank:
            return (
                ScaleScore("oss", "1", "total", total, "scored", None, 12, 12, words[0], (0, 48), "higher"),
                ScaleScore("oss", "1", "old", 60 - total, "scored", None, 12, 12, words[1], (12, 60), "lower"),
                ScaleScore("oss", "1", "total_complete", total, "scored", None, 12, 12, words[2], (0, 48), "higher"),
            )
        assert answered >= 10, "the sheets of this benchmark have one blank at most"
        said, memory = f"({blank} not answered)", "rule from memory, unverified"
        prorated, exact = f"{answered} of 12 items answered, prorated {said}; {memory}", total * 12
        through = f"{answered} of 12 items answered, total prorated {said}; {memory}"
        why = f"{answered} of 12 items answered, all needed {said}"
        return (
            ScaleScore("oss", "1", "total", exact / answered, "prorated", prorated, answered, 12, words[0], (0, 48), "higher", (memory,)),
            ScaleScore("oss", "1", "old", (60 * answered - exact) / answered, "prorated", through, answered, 12, words[1], (12, 60),
                       "lower", (memory,)),
            ScaleScore("oss", "1", "total_complete", None, "not_scored", why, answered, 12, words[2], (0, 48), "higher"),
        )  # fmt: skip

    return scored


if __name__ == "__main__":
    for result in measure():
        print(result)
