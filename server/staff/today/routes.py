"""Whom to reach today."""

from server.staff.page.route import CARE, Route
from server.staff.today import send_now, today

ROUTES = (
    Route("GET", "/today", "today", today.today, CARE),
    Route("GET", "/timepoints/<int:timepoint_id>/message", "send_now", send_now.send_now_page, CARE),
    Route("POST", "/timepoints/<int:timepoint_id>/message", "send_now_post", send_now.send_now_post, CARE),
)
