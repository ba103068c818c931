"""Operations: one form for every kind, and who carries a component of a lot."""

from server.staff.operations import edit_operation, new_operation, recall_list
from server.staff.page.route import CARE, Route

# The list has names, so whoever meets patients sees it; the file also leaves the clinic, so it needs who may take data out.
TAKES_NAMES_OUT = ("surgeon",)

ROUTES = (
    Route("GET", "/patients/<int:patient_id>/operations/new", "new_operation", new_operation.new_operation, CARE),
    Route(
        "POST",
        "/patients/<int:patient_id>/operations/new",
        "new_operation_post",
        new_operation.new_operation_post,
        CARE,
    ),
    Route(
        "GET",
        "/patients/<int:patient_id>/operations/<int:operation_id>/edit",
        "edit_operation",
        edit_operation.edit_operation,
        CARE,
    ),
    Route(
        "POST",
        "/patients/<int:patient_id>/operations/<int:operation_id>/edit",
        "edit_operation_post",
        edit_operation.edit_operation_post,
        CARE,
    ),
    Route("GET", "/components", "recall", recall_list.recall_page, CARE),
    Route("POST", "/components/file", "recall_file", recall_list.recall_file, TAKES_NAMES_OUT),
)
