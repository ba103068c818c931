"""Putting right what was entered of a patient: identity, consents, numbers, ends, sides, answers, two records of one person."""

from server.staff.mending import (
    answers,
    consents,
    contacts,
    details,
    in_error,
    leaving,
    numbers,
    same_person,
    sides,
)
from server.staff.page.route import CARE, Route

PATIENT = "/patients/<int:patient_id>"
OPERATION = f"{PATIENT}/operations/<int:operation_id>"

ROUTES = (
    Route("GET", f"{PATIENT}/details", "details", details.details, CARE),
    Route("POST", f"{PATIENT}/details", "save_details", details.save_details, CARE),
    Route("GET", f"{PATIENT}/leave", "leave_page", leaving.leave_page, CARE),
    Route("POST", f"{PATIENT}/leave", "leave", leaving.leave, CARE),
    Route("POST", f"{PATIENT}/leave/<end>", "take_back", leaving.take_back, CARE),
    Route("GET", f"{PATIENT}/consents", "consents", consents.consents_page, CARE),
    Route("POST", f"{PATIENT}/consents", "give_consent", consents.give, CARE),
    Route("POST", f"{PATIENT}/consents/<int:consent_id>", "change_consent", consents.change_consent, CARE),
    Route("POST", f"{PATIENT}/capacity", "capacity", consents.capacity, CARE),
    Route("POST", f"{PATIENT}/who-answered", "say_who_answered", consents.say_who_answered, CARE),
    Route("GET", f"{PATIENT}/contacts", "contacts", contacts.contacts_page, CARE),
    Route("POST", f"{PATIENT}/contacts/attempts/<int:attempt_id>", "take_back_try", contacts.take_back_try, CARE),
    Route(
        "POST", f"{PATIENT}/contacts/attempts/<int:attempt_id>/back", "bring_back_try", contacts.bring_back_try, CARE
    ),
    Route("POST", f"{PATIENT}/contacts/messages/<int:message_id>", "came_back", contacts.came_back, CARE),
    Route(
        "POST",
        f"{PATIENT}/contacts/messages/<int:message_id>/again",
        "send_message_again",
        contacts.send_message_again,
        CARE,
    ),
    Route("GET", f"{PATIENT}/numbers", "numbers", numbers.numbers_page, CARE),
    Route("POST", f"{PATIENT}/numbers", "add_number", numbers.add, CARE),
    Route("POST", f"{PATIENT}/numbers/<int:number_id>", "change_number", numbers.change_number, CARE),
    Route("GET", f"{OPERATION}/side", "side", sides.side_page, CARE),
    Route("POST", f"{OPERATION}/side", "save_side", sides.save_side, CARE),
    Route("GET", "/responses/<int:response_id>/place", "answers", answers.answers_page, CARE),
    Route("POST", "/responses/<int:response_id>/place", "mend_answers", answers.mend_answers, CARE),
    Route("GET", f"{PATIENT}/in-error", "in_error", in_error.in_error_page, CARE),
    Route("POST", f"{PATIENT}/in-error", "enrolment_in_error", in_error.enrolment_in_error, CARE),
    Route("POST", f"{OPERATION}/in-error", "operation_in_error", in_error.operation_in_error, CARE),
    Route("GET", f"{PATIENT}/same-person", "same_person", same_person.same_person_page, CARE),
    Route("POST", f"{PATIENT}/same-person", "merge_records", same_person.merge_records, CARE),
    Route("POST", f"{PATIENT}/same-person/<int:merge_id>/undo", "undo_merge", same_person.undo, CARE),
)
