"""Plain pages for what went wrong: what happened, what is safe, what to do. No stack trace reaches a browser."""

from dataclasses import dataclass

from flask import Blueprint, Response, g, jsonify, make_response, render_template, request
from werkzeug.exceptions import HTTPException, InternalServerError

from server.staff.page.database import reading
from server.staff.page.headers import protect
from server.staff.page.request_context import read_request_context, runtime


@dataclass(frozen=True)
class Words:
    title: str
    happened: str
    safe: str
    do: str


NOT_FOUND = Words(
    "Nothing is here",
    "This address has no page, or what it showed has been merged or removed.",
    "Nothing was changed.",
    "Check the address, or look the person up under Patients.",
)
WORDS = {
    400: Words(
        "This could not be read",
        "Something in what was sent is not complete.",
        "Nothing was saved.",
        "Go back and send it again.",
    ),
    403: Words(
        "This page is not for your role",
        "Your account may not see or do this.",
        "Nothing was changed, and nothing was shown.",
        "If you need it for your work, ask the data manager of your clinic.",
    ),
    404: NOT_FOUND,
    405: NOT_FOUND,
    409: Words(
        "This has changed meanwhile",
        "Someone else changed the same thing, or it was already done.",
        "Nothing of yours was saved, and theirs is kept.",
        "Go back, load the page again, and look whether there is still something to do.",
    ),
    413: Words(
        "That was too much at once",
        "What was sent is larger than this server takes.",
        "Nothing was saved, and nothing that was saved before is lost.",
        "Go back and shorten it; notes have a limit.",
    ),
    500: Words(
        "Something went wrong here",
        "The server met an error of its own. It has been written to the server's log.",
        "What was saved before is safe. What you just sent was not saved.",
        "Go back and try once more. If it happens again, tell the data manager the time and what you did.",
    ),
}
FORGED = Words(
    "This was not sent from our page",
    "A form reached the server from another website, or from a program.",
    "It was refused, and nothing was changed.",
    "If you meant to do this, open the page here and do it again. If not, tell the data manager.",
)


def error_page(problem: Exception) -> Response | HTTPException:
    """The page of an HTTP error. Paths of the phone get their own answers and are left alone."""
    error = problem if isinstance(problem, HTTPException) else InternalServerError()
    if request.path.startswith("/api/"):
        return make_response(jsonify({"code": error.code, "status": error.name}), error.code or 500)
    if request.path.startswith("/p/"):
        return error
    words = FORGED if error.description == "forged" else WORDS.get(error.code or 500, WORDS[500])
    _make_sure_of_here()
    return protect(make_response(render_template("staff/page/error.html", says=words), error.code or 500))


def _make_sure_of_here() -> None:
    """An address that no route knows never passed the staff pages' own preparation."""
    if "request_context" not in g:
        with reading() as session:
            g.request_context = read_request_context(session, runtime().real_clock())
    if "signed_in" not in g:
        g.signed_in = None


def add_error_pages(staff: Blueprint) -> None:
    for code in WORDS:
        staff.app_errorhandler(code)(error_page)
