"""One patient: the list to find one, the page, its forms, answers and flags."""

from server.staff.page.route import CARE, Route
from server.staff.patient import flag_page, patient_forms, patient_list, patient_page, response_page, take_home

ROUTES = (
    Route("GET", "/patients", "patients", patient_list.patients, CARE),
    Route("GET", "/patients/<int:patient_id>", "patient", patient_page.patient_page, CARE),
    Route("GET", "/patients/<int:patient_id>/letter", "letter", patient_page.letter, CARE),
    Route("GET", "/patients/<int:patient_id>/take-home.pdf", "take_home", take_home.take_home, CARE),
    Route("POST", "/patients/<int:patient_id>/attempts", "attempt", patient_forms.add_attempt, CARE),
    Route("POST", "/patients/<int:patient_id>/link", "new_link", patient_forms.new_link, CARE),
    Route("POST", "/patients/<int:patient_id>/unlock", "unlock", patient_forms.unlock_link, CARE),
    Route("POST", "/patients/<int:patient_id>/birth-date", "birth_date", patient_forms.birth_date, CARE),
    Route("POST", "/patients/<int:patient_id>/contact", "contact", patient_forms.contact, CARE),
    Route(
        "POST",
        "/patients/<int:patient_id>/operations/<int:operation_id>",
        "cancel_surgery",
        patient_forms.cancel_surgery,
        CARE,
    ),
    Route("GET", "/responses/<int:response_id>", "response", response_page.response_page, CARE),
    Route("GET", "/flags/<int:flag_id>", "flag", flag_page.flag_page, CARE),
    Route("POST", "/flags/<int:flag_id>", "settle_flag", flag_page.settle_flag, CARE),
    Route("POST", "/flags/<int:flag_id>/note", "keep_note", flag_page.keep_note, CARE),
)
