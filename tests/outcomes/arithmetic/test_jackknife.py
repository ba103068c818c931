"""The sum over persons of what each of them moves a curve by, squared."""

from server.outcomes.arithmetic.jackknife import Path, squared_influence
from server.outcomes.arithmetic.spans import Span


def test_three_persons_by_hand() -> None:
    """An event at 2 is a step of 1 in a and of 2 in b, being at risk of it a drain of 1/4 and of 1/2; half of a is taken from b.

    Of x, who has two spans, a is 3/4 - 1/4 and b 3/2 - 1/2; of y 3/4 and 3/2; of the one without a name -1/4 and -1/2. So they
    move the curve by 3/4, 9/8 and -3/8.
    """
    spans = [Span(2, 1, person="x"), Span(3, 0, person="x"), Span(2, 1, person="y"), Span(4, 0), Span(1, 1)]
    path = Path(2, 0.25, 0.5, {1: (1.0, 2.0)})
    assert list(squared_influence(spans, [path], [0.5])) == [(3 / 4) ** 2 + (9 / 8) ** 2 + (3 / 8) ** 2]
