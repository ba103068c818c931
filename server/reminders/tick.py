"""One pass of the clock: what opened, fell due or closed is written down, and the messages that are due are put in the outbox.

A pass may be killed anywhere and run again at any time, also beside another one: everything follows from facts in the rows, a
status change and the sheet that shows it are one transaction, and a message exists once for each timepoint, step and channel.

A pass after a long silence reaches the state that daily passes would have reached, with these differences: statuses that came and
went in between leave no transition; of the ladder only the latest step due is sent, the earlier ones are `passed_over`; a window
that closed meanwhile got no message, so it was never asked unless its form was fetched, and why it could not have been asked is not
known, since nobody looked; after more than a year, rows that are only made
now invite today if their window is still open (server.schedule.reconcile, rule 5).
"""

from dataclasses import dataclass
from datetime import datetime

from scoring.library import Library
from server.queries.clock import clinic_day, the_clinic
from server.reminders.asked_pass import mark_asked
from server.reminders.due_messages import make_messages
from server.reminders.extend import extend_timepoints
from server.reminders.link_service import LinkFunctions, LinkService
from server.reminders.status_pass import update_statuses
from server.reminders.withheld import mark_withheld
from server.store.engine import Store


@dataclass(frozen=True)
class TickReport:
    """Counts of one pass.

    `turned`: timepoints whose status changed. `extended`: follow-ups that got, moved or lost timepoints. `published`: due sheets
    that changed. `made`: messages now waiting. `let_go`: steps settled without a message. `exhausted`: ladders that ended.
    `withheld`: forms that stay back from now on, or no longer do. `asked`: timepoints whose patient turned out to have been asked.
    `failed`: patients, timepoints and follow-ups that could not be worked on; the log says which.
    """

    turned: int = 0
    extended: int = 0
    published: int = 0
    made: int = 0
    let_go: int = 0
    exhausted: int = 0
    withheld: int = 0
    asked: int = 0
    failed: int = 0


def run_tick(store: Store, library: Library, links: LinkFunctions, *, now: datetime, extend: bool = True) -> TickReport:
    """Runs one pass as of `now`. `extend=False` leaves out the rows 400 days ahead, which need looking after once a day only."""
    link_service = LinkService(library, links)
    with store.reading() as session:
        today = clinic_day(the_clinic(session), now)
    withheld = mark_withheld(store, link_service, today=today)
    asked = mark_asked(store, today=today)
    turned = update_statuses(store, link_service, now=now, today=today)
    extended = extend_timepoints(store, link_service, now=now, today=today) if extend else None
    made = make_messages(store, link_service, now=now, today=today)
    return TickReport(
        turned=turned.turned,
        extended=extended.extended if extended else 0,
        published=turned.published + (extended.published if extended else 0),
        made=made.made,
        let_go=made.let_go,
        exhausted=made.exhausted,
        withheld=withheld,
        asked=asked,
        failed=turned.failed + made.failed + (extended.failed if extended else 0),
    )
