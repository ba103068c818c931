"""A form of a page as a browser would send it back: everything it holds, with what a person changed."""

from typing import Any

from werkzeug.test import TestResponse

from tests.staff.staff_case import Staff
from tests.staff.tree import Node, read_tree


def inputs_of(html: str, action: str) -> dict[str, str]:
    """Name to value of the form that goes to this address; unticked boxes and the secret are left out."""
    forms = [each for each in read_tree(html).all("form") if each.attributes.get("method") == "post"]
    [form] = [each for each in forms if each.attributes.get("action") == action]
    found: dict[str, str] = {}
    for each in form.all():
        name = each.attributes.get("name", "")
        if each.tag in ("input", "textarea", "select") and name and name != "form_secret" and _is_sent(each):
            found[name] = _value(each)
    return found


def _is_sent(element: Node) -> bool:
    kind = element.attributes.get("type", "")
    return "checked" in element.attributes if kind in ("checkbox", "radio") else kind != "submit"


def _value(element: Node) -> str:
    if element.tag == "textarea":
        return "".join(element.texts())
    if element.tag == "select":
        options = list(element.all("option"))
        return next((each for each in options if "selected" in each.attributes), options[0]).attributes.get("value", "")
    return element.attributes.get("value", "")


def send(member: Staff, page: str, action: str, changed: dict[str, Any]) -> TestResponse:
    """Opens the page, changes something in the form that goes to `action`, and sends it."""
    return member.post(action, {**inputs_of(member.get(page).text, action), **changed})


def send_checked(member: Staff, action: str, fields: dict[str, Any]) -> TestResponse:
    """Sends a form; where the page then asks about something, sends it as it is shown, ticked as checked."""
    sent = member.post(action, fields)
    return member.post(action, {**inputs_of(sent.text, action), "checked": "yes"}) if sent.status_code == 422 else sent
