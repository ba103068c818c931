"""What `yearmark stats intervals` tells of a file of intervals, and what it refuses."""

import pytest

from server.outcomes.arithmetic import intervals_document as document
from server.outcomes.arithmetic.intervals_document import intervals_document
from server.outcomes.arithmetic.self_consistency import NotSettled
from server.outcomes.arithmetic.table import TableProblem


def test_the_document_has_what_contract_3_promises() -> None:
    found = intervals_document("left,right,group\n0,2,a\n1,3,a\n2,4,a\n3,,a\n,6,b\n,,b\n7,7,\n")
    assert list(found) == ["groups", "incomplete", "method"]
    assert list(found["groups"]) == ["a", "b"] and found["incomplete"] == 2
    table = found["groups"]["a"]["table"]
    assert [(row["left"], row["right"]) for row in table] == [(1, 2), (3, 4)]
    assert [row["mass"] for row in table] == pytest.approx([0.5, 0.5])
    assert found["groups"]["a"]["quartiles"] == {"25": [1, 2], "50": [1, 2], "75": [3, 4]}
    assert found["groups"]["b"] == {
        "table": [{"left": 0, "right": 6, "mass": 1}],
        "quartiles": {"25": [0, 6], "50": [0, 6], "75": [0, 6]},
        "n": 1,
    }


def test_the_quartiles_lie_where_a_quarter_a_half_and_three_quarters_have_happened() -> None:
    """Four exact times reach each of the shares just so; of a hundred it is the 25th, the 50th and the 75th."""
    four = intervals_document("left,right\n1,1\n2,2\n3,3\n4,4\n")["groups"]["all"]
    assert four["quartiles"] == {"25": [1, 1], "50": [2, 2], "75": [3, 3]}
    content = "left,right\n" + "".join(f"{time},{time}\n" for time in range(1, 101))
    hundred = intervals_document(content)["groups"]["all"]
    assert hundred["quartiles"] == {"25": [25, 25], "50": [50, 50], "75": [75, 75]}


def test_the_method_says_how_the_numbers_are_formed() -> None:
    assert intervals_document("left,right\n1,2\n")["method"] == (
        "self-consistent estimator (Turnbull 1976) on the innermost intervals (left, right]; left = right is exact, right null"
        " is not yet; a quartile is the first interval by whose end that share has happened"
    )


def test_what_has_not_happened_to_anybody_has_no_right_end() -> None:
    found = intervals_document("left,right\n3,\n5,\n")["groups"]["all"]
    assert found["table"] == [{"left": 5, "right": None, "mass": 1}]
    assert found["quartiles"]["50"] == [5, None]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the first line must name the columns left and right once; it is empty"),
        ("left,right\n", "there is no row with a left or a right end"),
        ("left,right\n1,2\n3,2\n", "line 3: left is 3 and right 2; an interval cannot end before it begins"),
        ("left,right\n-1,2\n", "line 2: left is -1; a time cannot be negative"),
        ("left,right\n1,inf\n", "line 2: right is not a time that can be reckoned with: 'inf'"),
        (
            "left,right,id\n1,2,a\n",
            "the first line names a column 'id' that is not known; the columns are left, right and, if wanted, group",
        ),
    ],
)
def test_a_bad_file_is_refused_with_its_line(content: str, said: str) -> None:
    with pytest.raises(TableProblem) as refused:
        intervals_document(content)
    assert str(refused.value) == said


def test_a_group_that_does_not_settle_is_named_and_has_no_number(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(_intervals: object) -> None:
        raise NotSettled("the self-consistent estimate did not settle")

    monkeypatch.setattr(document, "self_consistent", never)
    with pytest.raises(TableProblem) as refused:
        intervals_document(f"left,right,group\n1,2,{'a' * 60}\n")
    assert str(refused.value) == (
        f"group '{'a' * 39}: the self-consistent estimate did not settle; no number is better than a wrong one"
    )
