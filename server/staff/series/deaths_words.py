"""What is said of the deaths in a series beside those that the clinic's life table expects."""

from collections.abc import Mapping, Sequence
from datetime import date

from sqlalchemy.orm import Session

from server.outcomes.life_tables import LifeTableRefused, life_table_in_force, read_installed
from server.outcomes.series.deaths import ELECTIVE, FRACTURE, Expectation, expectations
from server.outcomes.series.followed import Followed
from server.staff.page import words
from server.words.phrase import Phrase, phrase

_GROUPS: Mapping[str, Phrase] = {
    ELECTIVE: phrase("Elective operations:"),
    FRACTURE: phrase("Acute fractures:"),
}


def deaths_said(session: Session, followed: Sequence[Followed], as_of: date) -> list[str]:
    """Elective and fracture apart, and by which table; without one, how it is installed."""
    row = life_table_in_force(session)
    if row is None:
        return [
            words.gettext(
                "No life table is installed, so nobody can say how many deaths were to be expected. Whoever runs the server installs"
                " one with %(command)s."
            )
            % {"command": "yearmark life-table FILE.csv"}
        ]
    try:
        table = read_installed(row)
    except LifeTableRefused:
        return [
            words.gettext(
                "The life table was altered in the database since it was installed and is not used. Whoever runs the server installs"
                " it again from its file."
            )
        ]
    found = expectations(followed, table, as_of)
    if not found:
        return []
    by = words.gettext(
        "By the life table: %(source)s. Person-time runs to the as-of date, and who is not known to be dead is taken to live."
    ) % {"source": row.source}
    return [*map(_of_group, found), by]


def _of_group(found: Expectation) -> str:
    counts = {
        "observed": words.spoken().count(found.observed),
        "people": words.spoken().count(found.people),
        "years": words.number(round(found.years)),
        "expected": words.number(round(found.expected, 1)),
    }
    said = [
        words.say(_GROUPS[found.group]),
        words.ngettext(
            "%(observed)s of %(people)s person died in %(years)s person-years, and %(expected)s were to be expected.",
            "%(observed)s of %(people)s people died in %(years)s person-years, and %(expected)s were to be expected.",
            found.people,
        )
        % counts,
    ]
    if found.ratio is None:
        said.append(words.gettext("Fewer than three expected deaths allow no verdict."))
    else:
        ratio, lower, upper = (words.number(round(each, 2)) for each in found.ratio)
        limits = {"ratio": ratio, "lower": lower, "upper": upper}
        said.append(words.gettext("The ratio is %(ratio)s (%(lower)s to %(upper)s, exact Poisson limits).") % limits)
    if found.seems_incomplete:
        said.append(
            words.gettext(
                "Even the upper limit lies under a half: deaths may be missing from the record, or these people are healthier than those"
                " of the table."
            )
        )
    if found.untold:
        said.append(
            words.ngettext(
                "%(number)s person is left out, whose age or sex the table does not have.",
                "%(number)s people are left out, whose age or sex the table does not have.",
                found.untold,
            )
            % {"number": found.untold}
        )
    return " ".join(said)
