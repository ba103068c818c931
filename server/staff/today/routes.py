"""Whom to reach today."""

from server.staff.page.route import CARE, Route
from server.staff.today import today

ROUTES = (Route("GET", "/today", "today", today.today, CARE),)
