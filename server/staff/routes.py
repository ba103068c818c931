"""Every staff page, room by room. These tables are the only way to a page."""

from server.staff.account import routes as account
from server.staff.audit import routes as audit
from server.staff.backups import routes as backups
from server.staff.enrol import routes as enrol
from server.staff.events import routes as events
from server.staff.files import routes as files
from server.staff.held import routes as held
from server.staff.library import routes as library
from server.staff.log import routes as log
from server.staff.mending import routes as mending
from server.staff.notices import routes as notices
from server.staff.operations import routes as operations
from server.staff.patient import routes as patient
from server.staff.series import routes as series
from server.staff.settings import routes as settings
from server.staff.today import routes as today

ROUTES = (
    *account.ROUTES,
    *today.ROUTES,
    *patient.ROUTES,
    *mending.ROUTES,
    *events.ROUTES,
    *operations.ROUTES,
    *enrol.ROUTES,
    *log.ROUTES,
    *series.ROUTES,
    *held.ROUTES,
    *files.ROUTES,
    *library.ROUTES,
    *notices.ROUTES,
    *backups.ROUTES,
    *settings.ROUTES,
    *audit.ROUTES,
)
