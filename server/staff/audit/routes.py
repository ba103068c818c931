"""The audit trail, a person's whole file, and what erasing means until it is built."""

from server.staff.audit import audit_trail, file_pages
from server.staff.page.route import ALL, CARE, MANAGER, Route

ROUTES = (
    Route("GET", "/audit", "audit", audit_trail.audit_trail, MANAGER),
    Route("GET", "/audit.csv", "audit_file", audit_trail.audit_file, MANAGER),
    Route("GET", "/patients/<int:patient_id>/file", "patient_file", file_pages.patient_file, CARE),
    Route("POST", "/patients/<int:patient_id>/file", "take_patient_file", file_pages.take_patient_file, CARE),
    Route("GET", "/erasure", "erasure", file_pages.erasure, ALL),
)
