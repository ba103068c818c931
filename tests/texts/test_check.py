"""A licensed text is checked against its definition before anything is kept; each fault is named with its place."""

import hashlib
import json
from typing import Any

import pytest

from scoring.library import load_library
from server.texts.check import LONGEST_BYTES, TextProblem, check_file
from server.texts.draft import draft_text
from server.words.languages import direction_of, language_problem
from tests.texts.making import text_document, text_file


def problems(data: bytes, stated: str = "") -> list[str]:
    with pytest.raises(TextProblem) as caught:
        check_file(data, load_library(), stated_sha256=stated)
    return caught.value.problems


def written(**changes: Any) -> bytes:
    return json.dumps(text_document() | changes).encode()


def of_item(name: str, **changes: Any) -> bytes:
    document = text_document()
    document["items"][name] |= changes
    return json.dumps(document).encode()


def test_a_file_that_fits_is_hashed_and_its_direction_known() -> None:
    data = text_file(language="ar")
    checked = check_file(data, load_library())
    assert (checked.text_id, checked.language, checked.direction) == ("sst@1/ar/licensed-1", "ar", "rtl")
    assert checked.sha256 == hashlib.sha256(data).digest()
    assert checked.content.encode() == data


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (written(instrument="sst@2"), 'instrument: sst has no version "2"; its versions are 1'),
        (written(instrument="sst"), "instrument: must name instrument and version, such as sst@1"),
        (written(instrument="knee@1"), "there is no instrument"),
        (written(instrument="woos@1"), "was not read in a published source"),
        (written(instrument="ases@1"), "text_id must be ases@1/es/licensed-NAME"),
        (written(kind="descriptive"), 'kind: must be licensed, but is "descriptive"'),
        (written(language="sp", text_id="sst@1/sp/licensed-1"), "language: sp is no code of ISO 639-1"),
        (
            written(language="es-Latn-419", text_id="sst@1/es-Latn-419/licensed-1"),
            "language: is longer than 10 characters",
        ),
        (written(owner="me"), "owner is not understood here"),
        (of_item("3", stem=""), "item 3 stem is empty; fill it in"),
        (
            of_item("3", options={"\u0661": "Yes", "0": "No"}),
            r'item 3 options "\u0661" is no code of item 3; its codes are 1, 0; write it in the digits 0 to 9',
        ),
        (of_item("3", options={"1": "Yes", "2": "No"}), "item 3 options 2 is no code of item 3; its codes are 1, 0"),
        (of_item("3", options={"1": "Yes"}), "item 3 options 0 is missing; the codes of item 3 are 1, 0"),
        (of_item("3", stem=float("nan")), "item 3 stem: NaN is not a number"),
        (b"", "the file is empty"),
        (b"[]", "must hold one JSON object"),
        (b"{", "not JSON"),
        (b"\xef\xbb\xbf" + text_file(), "byte-order mark"),
        (text_file().replace(b"invented", b"\xff"), "not UTF-8"),
        (b" " * (LONGEST_BYTES + 1), "more than 200,000 bytes, and a text has at most so many"),
        (b"[" * 90_000, "nested too deeply"),
    ],
)
def test_what_does_not_fit_is_named_with_its_place(data: bytes, said: str) -> None:
    assert said in problems(data)[0]


def test_missing_and_extra_items_are_all_named_at_once() -> None:
    document = text_document()
    document["items"]["13"] = document["items"].pop("12")
    del document["items"]["4"]
    found = problems(json.dumps(document).encode())
    assert found[0] == f"item 13 is no item of sst@1; its items are {', '.join(str(n) for n in range(1, 13))}"
    assert found[1:] == ["item 4 is missing", "item 12 is missing"]


def test_a_key_that_stands_there_twice_is_named_with_its_item() -> None:
    once = b'"options": {"1": "invented option 1"'
    data = text_file()
    place = data.index(once, data.index(b'"7": {'))
    doubled = data[:place] + once + b', "1": "again"' + data[place + len(once) :]
    assert problems(doubled) == ['item 7 options: the key "1" stands there twice']


def test_a_file_wrong_throughout_is_not_read_out_whole() -> None:
    document = text_document("dash@1")
    document["items"] = {name: {} for name in document["items"]}
    found = problems(json.dumps(document).encode())
    assert len(found) == 21 and found[-1] == f"and {len(document['items']) - 20} more like these"


def test_a_stated_hash_must_be_that_of_the_file() -> None:
    data = text_file()
    digest = hashlib.sha256(data).hexdigest()
    spaced = " ".join(digest[at : at + 8] for at in range(0, 64, 8)).upper()
    assert check_file(data, load_library(), stated_sha256=spaced).sha256.hex() == digest
    assert f"the file has {digest}, not the one stated" in problems(data, "0" * 64)[0]
    assert "is not 64 digits" in problems(data, "abc")[0]


def test_a_draft_has_every_place_and_is_refused_until_it_is_filled_in() -> None:
    draft = draft_text(load_library().instrument("pain@1"), "fa").encode()
    assert "title is empty; fill it in" in problems(draft)[0]


@pytest.mark.parametrize(
    ("tag", "direction"),
    [
        *(("ar", "rtl"), ("he", "rtl"), ("fa-IR", "rtl"), ("ur", "rtl"), ("es-MX", "ltr"), ("zh", "ltr")),
        *(("az-Arab", "rtl"), ("ur-Latn", "ltr"), ("ckb", "rtl")),
    ],
)
def test_a_language_is_read_in_its_direction(tag: str, direction: str) -> None:
    assert direction_of(tag) == direction
    assert language_problem(tag) is None
