"""Plain pages for what went wrong: what happened, what is safe, what to do. No stack trace reaches a browser.

A form that was not right is shown again at the address it was sent to. Whoever loads that address anew (a bookmark, the address bar, a
browser that was restarted) sends nothing there, and is led to the page that holds the form, opened.
"""

from dataclasses import dataclass

from flask import Blueprint, g, jsonify, make_response, redirect, render_template, request
from flask.globals import request_ctx
from werkzeug.exceptions import HTTPException, InternalServerError, MethodNotAllowed
from werkzeug.wrappers import Response as AnyResponse

from server.staff.page.guard import read_session
from server.staff.page.headers import protect
from server.words.phrase import Phrase, phrase


@dataclass(frozen=True)
class ErrorText:
    title: Phrase
    happened: Phrase
    safe: Phrase
    do: Phrase


NOT_FOUND = ErrorText(
    phrase("Nothing is here"),
    phrase("This address has no page, or what it showed has been merged or removed."),
    phrase("Nothing was changed."),
    phrase("Check the address, or look the person up under Patients."),
)
TEXTS = {
    400: ErrorText(
        phrase("This could not be read"),
        phrase("Something in what was sent is not complete."),
        phrase("Nothing was saved."),
        phrase("Go back and send it again."),
    ),
    403: ErrorText(
        phrase("This page is not for your role"),
        phrase("Your account may not see or do this."),
        phrase("Nothing was changed, and nothing was shown."),
        phrase("If you need it for your work, ask the data manager of your clinic."),
    ),
    404: NOT_FOUND,
    405: NOT_FOUND,
    409: ErrorText(
        phrase("This has changed meanwhile"),
        phrase("Someone else changed the same thing, or it was already done."),
        phrase("Nothing of yours was saved, and theirs is kept."),
        phrase("Go back, load the page again, and look whether there is still something to do."),
    ),
    413: ErrorText(
        phrase("That was too much at once"),
        phrase("What was sent is larger than this server takes."),
        phrase("Nothing was saved, and nothing that was saved before is lost."),
        phrase("Go back and shorten it; notes have a limit."),
    ),
    500: ErrorText(
        phrase("Something went wrong here"),
        phrase("The server met an error of its own. It has been written to the server's log."),
        phrase("What was saved before is safe. What you just sent was not saved."),
        phrase("Go back and try once more. If it happens again, tell the data manager the time and what you did."),
    ),
}
FORGED = ErrorText(
    phrase("This was not sent from our page"),
    phrase("A form reached the server from another website, or from a program."),
    phrase("It was refused, and nothing was changed."),
    phrase("If you meant to do this, open the page here and do it again. If not, tell the data manager."),
)


UNPRINTABLE = ErrorText(
    phrase("This could not be read"),
    phrase(
        "A text in it holds a sign that cannot be printed. It may have come along with a text copied from elsewhere."
    ),
    phrase("Nothing was saved."),
    phrase("Go back, type that text yourself, and send it again."),
)
SAID = {"forged": FORGED, "unprintable": UNPRINTABLE}


def error_page(problem: Exception) -> AnyResponse | HTTPException:
    """The page of an HTTP error. Paths of the phone get their own answers and are left alone."""
    error = problem if isinstance(problem, HTTPException) else InternalServerError()
    if request.path.startswith("/api/"):
        return make_response(jsonify({"code": error.code, "status": error.name}), error.code or 500)
    if request.path.startswith("/p/"):
        return error
    if isinstance(error, MethodNotAllowed) and request.method in ("GET", "HEAD"):
        return redirect(_page_of_form(request.path))
    said = SAID.get(error.description or "", TEXTS.get(error.code or 500, TEXTS[500]))
    _make_sure_of_here()
    return protect(make_response(render_template("staff/page/error.html", says=said), error.code or 500))


def _page_of_form(path: str) -> str:
    """The nearest page above the address of a form, and the form's place there: /patients/5#form-contact for /patients/5/contact."""
    urls, above = request_ctx.url_adapter, path
    while (above := above.rpartition("/")[0]) and urls is not None:
        if urls.test(above, method="GET"):
            return f"{above}#form-{path.removeprefix(above).strip('/').replace('/', '-')}"
    return "/"


def _make_sure_of_here() -> None:
    """An address that no route knows never passed the staff pages' own preparation; whoever is signed in keeps the menu there too."""
    if "words" not in g:
        read_session()


def add_error_pages(staff: Blueprint) -> None:
    for code in TEXTS:
        staff.app_errorhandler(code)(error_page)
