"""The people behind a loss of the flow: patients by study number, who is not enrolled by their line of the log."""

from flask import abort, render_template, request

from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.series.asked import read_asked
from server.staff.series.flow_words import LOSSES, loss_words

PAGE = 100


def people_page() -> str:
    """Of the loss that the address names, under the sentence that it holds. Whoever did not agree to research is a count."""
    name = request.args.get("loss", "")
    step, _dot, reason = name.partition(".")
    if reason not in LOSSES.get(step, {}):
        abort(404)
    with reading() as session:
        asked = read_asked(session)
    loss = next((each for each in asked.flow.losses if each.name == name), None)
    rows = list(loss.rows)[::-1] if loss is not None else []
    listed = [row for row in rows if row.takes_part or row.line_id is not None]
    at = At(offset_in(request.args.get("from", "")), PAGE, len(listed))
    return render_template(
        "staff/series/people.html",
        address=asked.address(),
        name=name,
        why=loss_words(loss) if loss is not None else "",
        count=len(rows),
        unlisted=len(rows) - len(listed),
        rows=listed[at.offset : at.offset + PAGE],
        at=at,
    )
