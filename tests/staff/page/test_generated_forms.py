"""Every staff page, in every role, with forms and addresses that no person sends: no fault, and no role in another's page."""

import gc
import re
from collections import Counter
from collections.abc import Iterator
from io import BytesIO
from random import Random
from typing import Any

from tests.staff.html_page import read_page
from tests.staff.page.test_roles import NOT_THERE, WHO_MAY
from tests.staff.staff_case import ROLES, Staff, StaffCase
from tests.staff.visited import Visited, fill_clinic

LEFT_OUT = ("POST /sign-out", "POST /account/sessions")  # they would end the session under test
TEXTS = (
    "", " ", "\0", "\u202e", "x" * 20_000, "\U0001f642" * 2_000, "-1", "0", "1" * 400, str(2**63), "1e9", "٣", "2026-02-30", "9999-12-31",
    "0001-01-01", "../../etc/passwd", "{{ 7 * 7 }}", "<script>", "'; --", "%(x)s", "=1+1", "on", "null", "[]", "sst@1/en/descriptive-1",
)  # fmt: skip
FILES = (b"", b"\x00\xff\xfe", b"{}", b"[" * 5_000, b'{"id": "x", "timepoints": [null]}')
WRONG_IDS = (0, NOT_THERE, 2**31, 2**63, 10**30)
BODIES = 2
MOST_BYTES = (
    300_000  # a body of half a megabyte with a file would lie in a file of the test client, which nothing closes
)
# Read by pages whose forms are shown only on the way through another one.
NAMES = (
    "carried",
    "ladder",
    "plan",
    "replaces",
    "what",
    "text",
    "licence",
    "credential",
    "code",
    "recovery_code",
    "sure",
)
Forms = dict[str, dict[str, str]]


def address_pattern(path: str) -> str:
    return re.sub(r"/\d+(?=/|$)", "/<id>", path)


def forms_of(html: str) -> Iterator[tuple[str, str, str, str]]:
    """Of each field of each form: where the form goes, name, type and value."""
    action = ""
    for element in read_page(html).elements:
        found = element.attributes
        action = found.get("action", "") if element.tag == "form" else action
        if element.tag in ("input", "select", "textarea", "button") and "name" in found:
            yield found.get("formaction", action), found["name"], found.get("type", ""), found.get("value", "")


def known_forms(staff: StaffCase, clinic: Visited) -> tuple[Forms, set[str]]:
    """The fields of all forms that the pages show, by their address; and the names of those that take a file."""
    forms: Forms = {}
    files: set[str] = set()
    for role in ROLES:
        for page in sorted({*clinic.pages[role], *clinic.pages["nurse"], "/account/second-factor"}):
            for action, name, kind, value in forms_of(staff.sign_in(role).get(page).text):
                forms.setdefault(address_pattern(action), {})[name] = value
                files |= {name} if kind == "file" else set()
    return forms, files


def body(random: Random, fields: dict[str, str], files: set[str]) -> dict[str, Any]:
    """Some fields as the page has them, some missing, some replaced by what nobody types; files stand last."""
    given: dict[str, Any] = {"stranger": random.choice(TEXTS)} if random.random() < 0.2 else {}
    size = 0
    for name, value in sorted(fields.items(), key=lambda field: field[0] in files):
        fate = random.random()
        if name in files:
            given[name] = (BytesIO(random.choice(FILES)), "file.json")
        elif name != "form_secret" and fate < 0.8 and size < MOST_BYTES:
            given[name] = value if fate < 0.3 else random.choice(TEXTS)
            size += len(given[name].encode())
    return given


def address(random: Random, path: str, clinic: Visited) -> str:
    """With ids that are there and ids that are not; of accounts only the latter, since one shut would end the test."""
    there = {
        "patient_id": clinic.patient_id,
        "response_id": clinic.response_id,
        "flag_id": clinic.flag_id,
        "envelope_id": clinic.envelope_id,
    }

    def number(found: re.Match[str]) -> str:
        known = there.get(found[1], 0 if found[1] == "account_id" else 1)
        return str(known if random.random() < 0.5 else random.choice(WRONG_IDS))

    words = ("sst@1", "es", "app", "passkey", "licensed-1", "..", "x" * 300, "%F0%9F%99%82")
    return re.sub(r"<\w+>", lambda _found: random.choice(words), re.sub(r"<int:(\w+)>", number, path))


def ask(random: Random, member: Staff, method: str, path: str, given: dict[str, Any]) -> int:
    if method == "POST":
        return member.post(path, given).status_code
    return member.get(path, query_string={"from": random.choice(TEXTS), "kind": random.choice(TEXTS)}).status_code


def test_no_generated_form_is_a_fault_or_lets_a_role_into_anothers_page(staff: StaffCase) -> None:
    random, clinic = Random("forms"), fill_clinic(staff)
    forms, files = known_forms(staff, clinic)
    every = dict.fromkeys(NAMES, "") | {name: value for fields in forms.values() for name, value in fields.items()}
    answers: Counter[int] = Counter()
    let_in, faults = [], []
    for route, who in WHO_MAY.items():
        method, pattern = route.split(" ")
        fields = forms.get(address_pattern(re.sub(r"<int:\w+>", "1", pattern)), every)
        for role in ROLES if route not in LEFT_OUT else ():
            for _body in range(BODIES if role in who else 1):
                path = address(random, pattern, clinic)
                code = ask(random, staff.sign_in(role), method, path, body(random, fields, files))
                answers[code] += 1
                let_in += [(route, role, code)] if role not in who and code not in (400, 403, 404) else []
                faults += [(route, role, path[:200], code)] if code >= 500 else []
    assert (faults, let_in) == ([], [])
    assert len(forms) > 20
    assert all(answers[code] for code in (200, 302, 400, 403, 404, 422)), answers


def test_a_form_that_was_cut_off_on_its_way_is_refused_in_words_and_leaves_no_file_open(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    begun = f'--b\r\nContent-Disposition: form-data; name="form_secret"\r\n\r\n{manager.secret}\r\n--b\r\n'
    file = 'Content-Disposition: form-data; name="plan"; filename="plan.json"\r\n\r\n' + "x" * 600_000
    sent = {"data": begun + file, "content_type": "multipart/form-data; boundary=b"}
    refused = manager.client.post("/plans/install", **sent)
    assert refused.status_code == 400 and "Something in what was sent is not complete" in refused.text
    gc.collect()  # a file that was left open would be told here, as an error


def test_a_file_carried_in_signs_of_no_file_and_an_id_of_no_table_are_refused(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    paths = ("/texts/install", "/plans/install", "/reminders/install")
    assert [manager.post(path, {"carried": "é"}).status_code for path in paths] == [400, 400, 400]
    assert manager.post(f"/texts/decision/{2**31}").status_code == 404
