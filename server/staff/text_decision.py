"""The decision of a data manager that a live clinic asks in descriptive texts, and taking it back."""

from flask import abort, make_response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.staff.here import here, runtime, who, writing
from server.staff.texts import Typed, texts_page
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
                now=here().now,
                by_id=who().id,
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
            withdraw_decision(session, decision_id, words=words, now=here().now, by_id=who().id)
    except LookupError:
        abort(404)
    except DecisionRefused as problem:
        return make_response(texts_page(Typed({name: words}, {name: [str(problem)]})), 422)
    return redirect(url_for("staff.texts", done="decision-withdrawn", _anchor="decisions"))
