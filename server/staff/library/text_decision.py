"""The decision of a data manager that a live clinic asks in descriptive texts, and taking it back."""

from flask import abort, make_response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.staff.library.texts import Typed, texts_page
from server.staff.page.database import writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.texts.decision import DecisionRefused, record_decision, withdraw_decision


def decide() -> AnyResponse:
    """Records it; on a problem nothing is saved and the page shows it with what was typed."""
    typed = request.form
    try:
        if not typed.get("sure"):
            raise DecisionRefused("Tick that you decide this for the clinic.")
        with writing() as session:
            record_decision(
                session,
                runtime().library,
                shown=typed.get("shown", ""),
                words=typed.get("words", ""),
                now=request_context().now,
                by_id=signed_in().id,
            )
    except DecisionRefused as problem:
        return make_response(texts_page(Typed(typed, {"words": [str(problem)]})), 422)
    return redirect(url_for("staff.texts", done="texts-decided"))


def withdraw(decision_id: int) -> AnyResponse:
    """Takes one decision back; on a problem nothing is saved and the page shows it beside that decision."""
    name = f"why-{decision_id}"
    words = request.form.get(name, "")
    try:
        with writing() as session:
            withdraw_decision(session, decision_id, words=words, now=request_context().now, by_id=signed_in().id)
    except LookupError:
        abort(404)
    except DecisionRefused as problem:
        return make_response(texts_page(Typed({name: words}, {name: [str(problem)]})), 422)
    return redirect(url_for("staff.texts", done="decision-withdrawn", _anchor="decisions"))
