"""A series of shoulders: under which name it was saved, who, in a sentence whose words open their choices, and its figures."""

from dataclasses import replace

from flask import render_template

from server.outcomes.series.collector import collector_at_rest
from server.outcomes.series.row import people
from server.staff.page.database import reading
from server.staff.series.asked import read_asked
from server.staff.series.choosing import choosing, word_in_address
from server.staff.series.groups_part import groups_shown
from server.staff.series.part import foot_of
from server.staff.series.parts import PARTS
from server.staff.series.saved_head import note_looked, saved_head


@collector_at_rest()
def series_page() -> str:
    """The address is the filter; `open` names the word whose choices are shown."""
    with reading() as session:
        asked = read_asked(session, texts=word_in_address() == "text")
        head = saved_head(session, asked)
        parts = [build(asked) for build in PARTS.values()] if asked.record.rows else []
    note_looked(asked, *groups_shown(asked))
    return render_template(
        "staff/series/series.html",
        asked=asked.address_alone,
        nothing_recorded=not asked.record.rows,
        head=head,
        parts=[replace(part, asked=None) for part in parts],
        feet={part.name: foot_of(part, asked) for part in parts},
        people_meant=people(asked.flow.rows_at("meant")),
        **choosing(asked.address_alone, asked.record, "staff.series"),
    )
