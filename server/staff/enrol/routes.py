"""Enrolling a patient."""

from server.staff.enrol import enrol
from server.staff.page.route import CARE, Route

ROUTES = (
    Route("GET", "/patients/new", "enrol", enrol.enrol_page, CARE),
    Route("POST", "/patients/new", "enrol_post", enrol.enrol_post, CARE),
    Route("GET", "/patients/<int:patient_id>/enrolled", "enrolled", enrol.enrolled, CARE),
)
