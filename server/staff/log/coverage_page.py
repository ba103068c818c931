"""Coverage: of all operations done here, how many are enrolled, by year, surgeon and procedure; and why the others are not."""

from collections import Counter

from flask import render_template

from server.fields.log import NOT_ENROLLED
from server.fields.operation_words import PROCEDURE_WORDS
from server.queries.coverage import Line, coverage_by, read_lines
from server.staff.page import words
from server.staff.page.database import reading


def coverage_page() -> str:
    """Counts and shares, or that nothing is recorded yet."""
    with reading() as session:
        lines = read_lines(session)
        reasons = Counter(line.reason for line in lines if not line.enrolled)
        return render_template(
            "staff/log/coverage.html",
            done=len(lines),
            enrolled=sum(line.enrolled for line in lines),
            tables=[
                (words.gettext("Year"), coverage_by(lines, lambda line: str(line.surgery_on.year))[::-1]),
                (words.gettext("Surgeon"), coverage_by(lines, _surgeon)),
                (words.gettext("Procedure"), coverage_by(lines, _procedure)),
            ],
            reasons=[
                (words.say(NOT_ENROLLED.get(reason or "", words.gettext("not recorded"))), count)
                for reason, count in reasons.most_common()
            ],
        )


def _surgeon(line: Line) -> str:
    return line.surgeon or words.gettext("not recorded")


def _procedure(line: Line) -> str:
    return words.sentence(PROCEDURE_WORDS.get(line.procedure or "", words.gettext("not recorded")))
