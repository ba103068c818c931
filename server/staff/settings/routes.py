"""The clinic's settings."""

from server.staff.page.route import MANAGER, Route
from server.staff.settings import settings

ROUTES = (
    Route("GET", "/settings", "settings", settings.settings_page, MANAGER),
    Route("POST", "/settings", "save_settings", settings.save_settings, MANAGER),
)
