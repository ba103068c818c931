"""The page on a series of shoulders, its figures on paper, the tables behind them, and the people behind a loss of its flow."""

from server.staff.page.route import ALL, CARE, Route
from server.staff.series import figure_files, series, series_people

ROUTES = (
    Route("GET", "/series", "series", series.series_page, ALL),
    Route("GET", "/series/<part>/table.csv", "series_table", figure_files.figure_table, ALL),
    Route("GET", "/series/<part>/<width>.<kind>", "series_print", figure_files.figure_print, ALL),
    Route("GET", "/series/people", "series_people", series_people.people_page, CARE),
)
