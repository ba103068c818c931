"""The page on a series of shoulders, its flow on paper, and the people behind a loss of its flow."""

from server.staff.page.route import ALL, CARE, Route
from server.staff.series import flow_print, series, series_people

ROUTES = (
    Route("GET", "/series", "series", series.series_page, ALL),
    Route("GET", "/series/flow/<width>.<kind>", "series_flow_print", flow_print.flow_print, ALL),
    Route("GET", "/series/people", "series_people", series_people.people_page, CARE),
)
