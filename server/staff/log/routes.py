"""The log of all operations done here, and how many of them are enrolled."""

from server.staff.log import coverage_page, log
from server.staff.page.route import CARE, Route

ROUTES = (
    Route("GET", "/log", "log", log.log_page, CARE),
    Route("POST", "/log", "log_post", log.log_post, CARE),
    Route("GET", "/log/<int:line_id>", "log_line", log.line_page, CARE),
    Route("POST", "/log/<int:line_id>", "log_line_post", log.line_post, CARE),
    Route("POST", "/log/<int:line_id>/in-error", "log_line_in_error", log.line_in_error, CARE),
    Route("POST", "/log/<int:line_id>/enrolled", "log_line_enrolled", log.line_enrolled, CARE),
    Route("GET", "/coverage", "coverage", coverage_page.coverage_page, CARE),
)
