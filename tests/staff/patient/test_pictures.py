"""Year marks and the chart as drawings: what stands where, and what is said to a person who does not see them."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import date
from itertools import pairwise

from server.staff.page.words import ENGLISH
from server.staff.page.year_mark_drawing import WORDS, Mark, ShoulderRuler, draw_key, draw_ruler, ruler_in_words
from server.staff.patient.chart_drawing import draw_chart
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, Point, SpacerMark, StateMark
from server.words.language import Words

SIDES = {"left": "left", "right": "right"}
MARKS = (
    Mark(-0.2, "answered"),
    Mark(0.1, "answered"),
    Mark(1, "answered", 1),
    Mark(2, "late", 2),
    Mark(3, "missed", 3),
    Mark(4, "open", 4),
    Mark(5, "to_come", 5),
)


def places(picture: str, kind: str) -> list[float]:
    return [float(x) for x in re.findall(rf'class="mk-{kind}" x1="([\d.]+)"', picture)]


def test_marks_stand_at_their_true_time_on_one_ruler() -> None:
    picture = draw_ruler(ShoulderRuler("Left shoulder", MARKS))
    answered, late, missed = places(picture, "answered"), places(picture, "late"), places(picture, "missed")
    assert round(late[0] - answered[2], 1) == round(missed[0] - late[0], 1) == 20.0
    assert picture.count('class="mk-rule"') == 1 and picture.count('class="mk-operation"') == 1


def test_two_marks_are_never_drawn_as_one() -> None:
    near = (Mark(-0.02, "answered"), Mark(0.0, "missed"), Mark(0.1, "answered"), Mark(25, "to_come", 25))
    picture = draw_ruler(ShoulderRuler("Left shoulder", near))
    first, second = places(picture, "answered")
    assert round(second - first, 1) == 12.0 and round(places(picture, "missed")[0] - first, 1) == 6.0


def test_every_done_operation_has_its_triangle() -> None:
    revised = ShoulderRuler("Left shoulder", (*MARKS, Mark(6, "answered", 6)), operations=(0.0, 4.5))
    assert draw_ruler(revised).count('class="mk-operation"') == 2
    assert draw_ruler(ShoulderRuler("Left shoulder", MARKS, operations=())).count('class="mk-operation"') == 0


def test_a_long_history_still_fits_and_its_labels_do_not_touch() -> None:
    years = range(1, 31)
    picture = draw_ruler(ShoulderRuler("Right shoulder", tuple(Mark(year, "answered", year) for year in years)))
    labels = sorted(float(x) for x in re.findall(r'class="mk-year" x="([\d.]+)"', picture))
    assert max(places(picture, "answered")) < 250 and len(places(picture, "answered")) == 30
    assert all(after - before >= 15 for before, after in pairwise(labels))


def test_the_history_is_said_in_words() -> None:
    said = ruler_in_words(ShoulderRuler("Left shoulder", MARKS))
    assert said == "Left shoulder: 3 answered; answered late: year 2; open now: year 4; missed: year 3"
    assert (
        ruler_in_words(ShoulderRuler("Left shoulder", (Mark(1, "to_come", 1),))) == "Left shoulder: nothing asked yet"
    )
    assert draw_ruler(ShoulderRuler("Left shoulder", ())) == ""


def test_the_key_has_every_kind_of_mark_once() -> None:
    assert [word for _picture, word in draw_key()] == [word.text for word in WORDS.values()]


def course(*lines: Line, operations: tuple[OperationMark, ...] = ()) -> CourseChart:
    panel = Panel("Shoulder test", "0–12, higher is better", 0, 12, lines)
    said = (
        StateMark("left", date(2012, 6, 1), False, "no", "the first"),
        StateMark("left", date(2012, 9, 1), True, "yes", "the second"),
        StateMark("left", date(2012, 9, 2), True, "yes", "the third"),
    )
    today = date(2026, 6, 15)
    return CourseChart('Scores of "A&B"', (panel,), operations, said, "Acceptable state", today, SIDES, ENGLISH)


def point(year: int, value: float) -> Point:
    return Point(date(year, 6, 1), value, f"{value:g} in {year}", f"{value:g}")


def test_left_is_circles_and_right_is_squares() -> None:
    picture = draw_chart(course(Line("left", (point(2012, 3), point(2013, 9))), Line("right", (point(2020, 5),))))
    assert picture.count('class="dot left"') == 8 and picture.count('class="dot right"') == 2  # wide and narrow
    assert ">9 left</text>" in picture and ">5 right</text>" in picture


def test_a_line_is_dotted_only_over_a_timepoint_without_an_answer() -> None:
    line = Line("left", (point(2012, 3), point(2013, 9), point(2015, 10)), unanswered_on=(date(2014, 6, 1),))
    wide = draw_chart(course(line)).split("</svg>")[0]
    assert wide.count('class="run left"') == 1 and wide.count('class="run left gap"') == 1


def test_every_yes_and_no_has_a_mark_of_its_own_and_a_word_where_there_is_room() -> None:
    pictures = draw_chart(course(Line("left", (point(2012, 3),)))).split("</svg>")[:-1]
    assert len(pictures) == 2  # one for wide windows, one for narrow ones
    for picture in pictures:
        titles = re.findall(r'class="dot left( hollow)?"[^>]*><title>(the \w+)<', picture)
        assert titles == [(" hollow", "the first"), ("", "the second"), ("", "the third")]
        assert re.findall(r'class="said left"[^>]*>(\w+)<', picture) == ["no"]


def test_the_time_between_two_stages_is_shaded_behind_each_scale() -> None:
    line = Line("left", (point(2012, 3), point(2013, 9)))
    times = (SpacerMark("left", date(2012, 9, 1), date(2012, 12, 1), "left: between the stages of an exchange"),)
    pictures = str(draw_chart(replace(course(line), spacers=times))).split("</svg>")[:-1]
    assert len(pictures) == 2
    for picture in pictures:
        [(x, wide)] = re.findall(r'class="spacer left" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', picture)
        years = [float(at) for at in re.findall(r'<circle class="dot left" cx="([\d.]+)"', picture)][:2]
        assert years[0] < float(x) < float(x) + float(wide) < years[1]
        assert picture.index("<rect") < picture.index('class="run left"'), "behind the line"


def test_a_course_within_one_year_says_which() -> None:
    line = Line("left", (Point(date(2026, 5, 1), 3, "3", "3"),))
    one = replace(course(line), words=())
    wide = draw_chart(one).split("</svg>")[0]
    assert "March 2026</text>" in wide and "July 2026</text>" in wide
    spanish = draw_chart(replace(one, language=Words("staff", "es"))).split("</svg>")[0]
    assert "marzo de 2026</text>" in spanish


def test_operations_keep_inside_the_picture_and_off_each_other() -> None:
    operations = tuple(
        OperationMark("left", date(year, 6, 14), f"left: resurfacing with glenoid {year}")
        for year in (2011, 2012, 2018, 2026)
    )
    pictures = str(draw_chart(course(Line("left", (point(2012, 3),)), operations=operations))).split("</svg>")[:-1]
    assert len(pictures) == 2  # one for wide windows, one for narrow ones
    for picture in pictures:
        width = float(re.findall(r'viewBox="0 0 (\d+)', picture)[0])
        boxes = [
            (float(x), float(y), 7.0 * len(words))
            for x, y, words in re.findall(r'class="op-words left" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)<', picture)
        ]
        assert len(boxes) == 4 and all(x >= 0 and x + wide <= width + 1 for x, _y, wide in boxes)
        for x, y, wide in boxes:
            assert not any(y == other_y and x < other_x < x + wide for other_x, other_y, _w in boxes)


def test_the_picture_is_well_formed_and_titled() -> None:
    pictures = str(draw_chart(course(Line("left", (point(2012, 3),))))).split("</svg>")[:-1]
    assert len(pictures) == 2  # one for wide windows, one for narrow ones
    for picture in pictures:
        root = ElementTree.fromstring(picture + "</svg>")
        assert root[0].tag.endswith("}title") and root[0].text == 'Scores of "A&B"'
        assert "style=" not in picture
