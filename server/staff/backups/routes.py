"""Copies of the clinic, and the release after a restore."""

from server.staff.backups import backups
from server.staff.page.route import MANAGER, Route

ROUTES = (
    Route("GET", "/backups", "backups", backups.backups_page, MANAGER),
    Route("POST", "/backups/release/<int:restoration_id>", "release_restored", backups.release_post, MANAGER),
)
