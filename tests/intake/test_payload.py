"""Payloads of forms and notices are read, or held, as the shared vectors say."""

import json
from pathlib import Path
from typing import Any

import pytest

from scoring.answers import AnswerProblem
from server.crypto.envelope import EnvelopeProblem
from server.intake.payload import FormPayload, NoticePayload, read_document, read_payload

VECTORS = Path(__file__).parent.parent / "vectors" / "payload.json"
CASES = json.loads(VECTORS.read_text(encoding="utf-8"))["cases"]


def outcome(data: bytes) -> str:
    try:
        read_payload(read_document(data))
    except EnvelopeProblem as problem:
        return problem.reason
    except AnswerProblem:
        return "answers_not_valid"
    return "success"


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_payload_is_read_or_held_as_its_vector_says(case: dict[str, Any]) -> None:
    assert outcome(case["payload"].encode()) == case["expect"]


def test_a_notice_and_a_form_are_told_apart_by_their_kind() -> None:
    kinds = {case["name"]: type(read_payload(json.loads(case["payload"]))) for case in CASES[:4]}
    assert list(kinds.values()) == [FormPayload, FormPayload, NoticePayload, NoticePayload]
