"""Envelopes that a person must look at."""

from server.staff.held import held
from server.staff.page.route import ALL, Route

ROUTES = (
    Route("GET", "/held", "held", held.held, ALL),
    Route("GET", "/held/<int:envelope_id>", "held_one", held.held_one, ALL),
    Route("POST", "/held/<int:envelope_id>/again", "try_held_again", held.try_held_again, ALL),
    Route("POST", "/held/<int:envelope_id>/settle", "settle_held", held.settle_held, ALL),
)
