"""A JSON file as somebody sends it: each fault is named with its place."""

import hashlib

import pytest

from scoring.json_file import check_sha256, decode_file, load_file
from scoring.strict_json import JsonProblem

DATA = b'{"a": 1}'
DIGEST = hashlib.sha256(DATA).hexdigest()


def test_a_file_of_the_longest_length_is_read() -> None:
    assert decode_file(DATA, len(DATA), "a text") == '{"a": 1}'
    assert load_file('{"a": [1, {"b": 2.5}]}') == {"a": [1, {"b": 2.5}]}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b"x" * 1001, "the file has more than 1,000 bytes, and a text has at most so many"),
        (b"\xef\xbb\xbf{}", "the file begins with a byte-order mark; save it as UTF-8 without one"),
        (b"{} \xff", "the file is not UTF-8 (byte 3); save it as UTF-8"),
    ],
)
def test_bytes_that_are_no_text_are_refused(data: bytes, says: str) -> None:
    with pytest.raises(JsonProblem) as problem:
        decode_file(data, 1000, "a text")
    assert str(problem.value) == says


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ('{"a": 1, "a": 2}', 'the file: the key "a" stands there twice'),
        ('{"x": {"b": 1, "a": 1, "b": 2}}', 'x: the key "b" stands there twice'),
        ('{"x": [{"y": 1}, {"z": [0, NaN]}]}', "x[1] z[1]: NaN is not a number and cannot stand here"),
        ('{"x": {"y": -Infinity}}', "x y: -Infinity is not a number and cannot stand here"),
        ('{"x": {"y": {"z": 1, "z": 1}, "y": 1}}', 'x: the key "y" stands there twice'),
        ('{"a": }', "not JSON: Expecting value in line 1, column 7"),
        ('{"a": 1e999}', "1e999 is too large a number"),
        ("[" * 100_000, "nested too deeply"),
        ("[]", "the file must hold one JSON object, as instruments/README.md shows it"),
    ],
    ids=range(9),
)
def test_what_is_wrong_inside_is_named_by_its_place(content: str, says: str) -> None:
    with pytest.raises(JsonProblem) as problem:
        load_file(content)
    assert str(problem.value) == says


@pytest.mark.parametrize("stated", ["", "  ", DIGEST, DIGEST.upper(), f" {DIGEST[:32]}:{DIGEST[32:]}\n"])
def test_a_hash_is_compared_as_people_write_it(stated: str) -> None:
    check_sha256(DATA, stated)


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ("soon", 'SHA-256: "soon" is not 64 digits of 0-9 and a-f'),
        (DIGEST[1:], f'SHA-256: "{DIGEST[1:39]}… is not 64 digits of 0-9 and a-f'),
        ("0" * 64, f"SHA-256: the file has {DIGEST}, not the one stated; it was changed on the way"),
    ],
)
def test_a_hash_that_is_another_or_none_is_refused(stated: str, says: str) -> None:
    with pytest.raises(JsonProblem) as problem:
        check_sha256(DATA, stated)
    assert str(problem.value) == says
