"""The page on a series of shoulders, its figures on paper, the tables behind them, the people behind a loss, and the saved series."""

from server.staff.page.route import ALL, CARE, KEEPING, Route
from server.staff.series import (
    figure_files,
    methods_page,
    save_page,
    saved_pages,
    series,
    series_people,
    silence_draws,
)

ROUTES = (
    Route("GET", "/series", "series", series.series_page, ALL),
    Route("GET", "/series/<part>/table.csv", "series_table", figure_files.figure_table, ALL),
    Route("GET", "/series/<part>/<width>.<kind>", "series_print", figure_files.figure_print, ALL),
    Route("POST", "/series/silence/draw", "silence_draw", silence_draws.draw_post, KEEPING),
    Route("GET", "/series/silence/lots/<int:draw_id>.csv", "silence_lots", silence_draws.lots_file, KEEPING),
    Route("GET", "/series/people", "series_people", series_people.people_page, CARE),
    Route("GET", "/series/save", "save_series", save_page.save_page, KEEPING),
    Route("POST", "/series/save", "save_series_post", save_page.save_post, KEEPING),
    Route("GET", "/series/methods", "series_methods", methods_page.methods_page, ALL),
    Route("GET", "/series/methods.txt", "series_methods_file", methods_page.methods_file, ALL),
    Route("GET", "/series/strobe-record.csv", "series_items_file", methods_page.items_file, ALL),
    Route("GET", "/series/saved", "saved_list", saved_pages.saved_list, ALL),
    Route("GET", "/series/saved.csv", "saved_file", saved_pages.versions_file, KEEPING),
    Route("GET", "/series/saved/<int:series_id>", "saved_series", saved_pages.saved_page, ALL),
    Route("GET", "/series/saved/<int:series_id>/<int:number>", "saved_open", saved_pages.saved_open, ALL),
    Route("POST", "/series/saved/<int:series_id>", "saved_post", saved_pages.saved_post, KEEPING),
    Route("POST", "/series/saved/<int:series_id>/use", "saved_use", saved_pages.withdraw_post, KEEPING),
)
