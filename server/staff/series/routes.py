"""The page on a series of shoulders, and the people behind a loss of its flow."""

from server.staff.page.route import ALL, CARE, Route
from server.staff.series import series, series_people

ROUTES = (
    Route("GET", "/series", "series", series.series_page, ALL),
    Route("GET", "/series/people", "series_people", series_people.people_page, CARE),
)
