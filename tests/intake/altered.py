"""Envelopes and payloads that were altered, by accident or on purpose, and what became of each."""

import json
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from random import Random
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from scoring.answers import AnswerProblem
from scoring.library import load_library
from server.crypto.envelope import EnvelopeProblem, open_envelope, parse_envelope
from server.forms.asked import AskedPart
from server.forms.check import check_answers
from server.intake.payload import FormPayload, read_document, read_payload

VECTORS = Path(__file__).parent.parent / "vectors"
SEALED = json.loads((VECTORS / "envelope.json").read_text(encoding="utf-8"))
PRIVATE = ec.derive_private_key(int(SEALED["private_scalar"], 16), ec.SECP256R1())
ANSWER_KEY = bytes.fromhex(SEALED["answer_key"])
GOOD = SEALED["cases"][0]["envelope"]
LIBRARY = load_library()
ASKED = [AskedPart("sane@1", ("1",)), AskedPart("pain@1", ("1",))]
PAYLOADS = [case["payload"] for case in json.loads((VECTORS / "payload.json").read_text(encoding="utf-8"))["cases"][:6]]
VALUES: tuple[Any, ...] = (
    None, True, 0, -1, 1.5, 2**63, "", "x", "\x00", "\ud800", "9999-12-31T23:59:59.999Z", "0001-01-01T00:00:00.000Z", [], {}, [[]],
)  # fmt: skip
Step = Callable[[Any], str]
PROTOCOL_SAYS = {"malformed", "too_large", "not_opened", "wrong_answer_key", "not_json", "answers_not_valid"}


def opened(text: str) -> str:
    payload = open_envelope(parse_envelope(text), PRIVATE, [ANSWER_KEY])
    return "taken" if payload.decode() == SEALED["payload"] else "taken, with other answers"


def read(data: bytes) -> str:
    payload = read_payload(read_document(data))
    if isinstance(payload, FormPayload):
        check_answers(LIBRARY, ASKED, payload.parts)
    return "taken"


def became(step: Step, given: Any) -> str:
    """What the protocol says of it. Any other exception is a fault."""
    try:
        return step(given)
    except EnvelopeProblem as problem:
        return problem.reason
    except AnswerProblem:
        return "answers_not_valid"


def altered_text(random: Random, text: str) -> str:
    """One to three characters changed, left out, doubled or swapped."""
    letters = list(text)
    for _ in range(random.randint(1, 3)):
        place = random.randrange(len(letters))
        how = random.randrange(4)
        if how == 0:
            letters[place] = random.choice('AZaz09-_.=" \n\x00é{}[],:')
        elif how == 1:
            del letters[place : place + random.randint(1, 9)]
        elif how == 2:
            letters[place:place] = letters[place : place + 3]
        else:
            other = random.randrange(len(letters))
            letters[place], letters[other] = letters[other], letters[place]
        if not letters:
            return ""
    return "".join(letters)


def altered_members(random: Random, document: dict[str, Any]) -> bytes:
    """One or two members, of the payload or of what lies inside, replaced by something else."""
    changed = json.loads(json.dumps(document))
    for _ in range(random.randint(1, 2)):
        inside: Any = changed
        while True:
            names = list(inside) if isinstance(inside, dict) else list(range(len(inside)))
            name = random.choice(names)
            if isinstance(inside[name], dict | list) and inside[name] and random.random() < 0.8:
                inside = inside[name]
                continue
            inside[name] = deepcopy(random.choice(VALUES))
            break
    return json.dumps(changed).encode("utf-8", "surrogatepass")


def whole_form() -> dict[str, Any]:
    """A form that is taken as it is."""
    at = "2026-06-15T09:00:00.000Z"
    answers = {"1": {"state": "answered", "value": 5, "first_at": at, "last_at": at}}
    parts = [
        {"instrument": part.instrument, "text_id": f"{part.instrument}/en/descriptive-1", "answers": answers}
        for part in ASKED
    ]
    return {**json.loads(PAYLOADS[0]), "parts": parts}


def altered(count: int, seed: str) -> Iterator[tuple[Step, Any]]:
    """So many of them, each with the step of the intake that meets it first: sealed text, then payloads as text and by member."""
    random, form, notice = Random(seed), whole_form(), json.loads(PAYLOADS[2])
    for number in range(count):
        kind = number % 20
        if kind < 7:
            yield opened, altered_text(random, GOOD)
        elif kind < 15:
            yield read, altered_text(random, random.choice(PAYLOADS)).encode("utf-8", "surrogatepass")
        else:
            yield read, altered_members(random, random.choice((form, notice)))
