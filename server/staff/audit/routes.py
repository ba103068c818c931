"""The audit trail."""

from server.staff.audit import audit_trail
from server.staff.page.route import MANAGER, Route

ROUTES = (
    Route("GET", "/audit", "audit", audit_trail.audit_trail, MANAGER),
    Route("GET", "/audit.csv", "audit_file", audit_trail.audit_file, MANAGER),
)
