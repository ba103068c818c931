"""Writes token.json, derivation.json, due_sheet.json, envelope.json and payload.json beside this file. Run by hand when the protocol
changes: python -m tests.vectors.make_vectors

The values are the project's own; they are verified by two independent implementations, the server's and the phone's, in their own tests.
telephone.json is written by hand.
hpke.json holds the official RFC 9180 vectors of the suite in use, taken from the `cryptography_vectors` package.
"""

import importlib.resources
import json
import uuid
from datetime import date
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from server.crypto import derive
from server.crypto.encoding import b64u, compact_json
from server.crypto.envelope import SUITE, Header, answer_mac, parse_envelope, public_point, seal_envelope
from server.crypto.sheet import seal_sheet
from server.crypto.token import grouped, write_token

HERE = Path(__file__).parent
RAW = bytes(range(16))
BORN = date(1952, 2, 29)
OTHER_BORN = date(1952, 2, 28)
SOURCE = "the project's own, see make_vectors.py"


def _write(name: str, document: dict[str, Any]) -> None:
    (HERE / name).write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n")


def _swap(text: str, left: int, right: int) -> str:
    letters = list(text)
    letters[left], letters[right] = letters[right], letters[left]
    return "".join(letters)


def token_cases() -> list[dict[str, Any]]:
    token = write_token(RAW)
    zero, full = write_token(bytes(16)), write_token(b"\xff" * 16)
    good = [("plain", token, RAW), ("lower case in groups", grouped(token).lower(), RAW), ("all zero", zero, bytes(16))]
    good += [("look-alike digits", full.replace("O", "0").replace("I", "1").replace("B", "8"), b"\xff" * 16)]
    wrong = "B" if token[5] != "B" else "C"
    bad = [
        ("one character short", token[:-1], "length"),
        ("empty", "", "length"),
        ("a character of no alphabet", "9" + token[1:], "alphabet"),
        ("one character wrong", token[:5] + wrong + token[6:], "check"),
        ("two neighbours swapped", _swap(token, 3, 4), "check"),
        ("two far ones swapped", _swap(token, 2, 20), "check"),
        ("spare bits not zero", token[:25] + chr(ord(token[25]) + 1) + token[26:], "check"),
        ("check character wrong", token[:27] + ("A" if token[27] != "A" else "C"), "check"),
    ]
    return [{"name": n, "expect": "success", "text": t, "raw": r.hex()} for n, t, r in good] + [
        {"name": n, "expect": e, "text": t} for n, t, e in bad
    ]


def derivation_cases() -> list[dict[str, Any]]:
    pairs = [(RAW, BORN), (RAW, OTHER_BORN), (b"\xff" * 16, date(2009, 12, 31))]
    return [
        {
            "name": f"born {born}",
            "expect": "success",
            "token": write_token(raw),
            "born": born.isoformat(),
            "lookup": derive.lookup(raw).hex(),
            "proof": derive.proof(raw, born).hex(),
            "due_key": derive.due_key(raw, born).hex(),
            "answer_key": derive.answer_key(raw, born).hex(),
        }
        for raw, born in pairs
    ]


def due_sheet_cases() -> list[dict[str, Any]]:
    key, lookup = derive.due_key(RAW, BORN), derive.lookup(RAW)
    plain = compact_json({"format": 1, "revision": 7, "patient": {"first_name": "Ánna"}, "forms": []})
    sheet = seal_sheet(key, lookup, 7, plain, nonce=bytes(range(12)))
    base = {
        "due_key": key.hex(),
        "lookup": lookup.hex(),
        "revision": 7,
        "nonce": b64u(sheet.nonce),
        "ciphertext": b64u(sheet.ciphertext),
    }
    flipped = bytes([sheet.ciphertext[0] ^ 1]) + sheet.ciphertext[1:]
    bad: list[tuple[str, dict[str, Any]]] = [
        ("wrong birth date", {"due_key": derive.due_key(RAW, OTHER_BORN).hex()}),
        ("another link's lookup", {"lookup": derive.lookup(b"\xff" * 16).hex()}),
        ("another revision", {"revision": 8}),
        ("one bit altered", {"ciphertext": b64u(flipped)}),
        ("truncated", {"ciphertext": b64u(sheet.ciphertext[:-1])}),
        ("empty", {"ciphertext": ""}),
        ("short nonce", {"nonce": b64u(bytes(11))}),
    ]
    good = {"name": "opens", "expect": "success", **base, "plain": plain.decode()}
    return [good, *({"name": n, "expect": "not_opened", **base, **change} for n, change in bad)]


def envelope_document() -> dict[str, Any]:
    private, other = ec.derive_private_key(0x59EA2, ec.SECP256R1()), ec.derive_private_key(0x59EA3, ec.SECP256R1())
    answer_key, header = derive.answer_key(RAW, BORN), Header("k-test-1", uuid.UUID(int=5), derive.lookup(RAW))
    payload = compact_json({"format": 1, "form_id": str(uuid.UUID(int=9)), "note": "respuesta «sí»", "parts": []})
    text = seal_envelope(header, private.public_key(), answer_key, payload).text
    head, body = text.split(".")
    sealed = bytearray(parse_envelope(text).sealed)
    sealed[-1] ^= 1
    moved = Header("k-test-1", uuid.UUID(int=6), header.lookup)
    foreign = SUITE.encrypt(
        answer_mac(answer_key, header.written(), payload) + payload,
        other.public_key(),
        b"yearmark v1 envelope\x00" + header.written(),
    )
    extra = compact_json(
        {
            "v": 1,
            "suite": "0010-0001-0002",
            "key_id": "k",
            "envelope_id": str(uuid.UUID(int=5)),
            "lookup": b64u(header.lookup),
            "x": 1,
        }
    )
    suite = header.written().replace(b"0010-0001-0002", b"0020-0001-0002")
    doubled = header.written().replace(b'{"v":1,', b'{"v":1,"v":1,')
    decimal = header.written().replace(b'"v":1,', b'"v":1.0,')
    late = seal_envelope(header, private.public_key(), derive.answer_key(RAW, OTHER_BORN), payload).text
    bad = [
        ("altered in its last bit", f"{head}.{b64u(bytes(sealed))}", "not_opened"),
        ("truncated by one byte", f"{head}.{b64u(bytes(sealed[:-1]))}", "not_opened"),
        ("moved under another envelope id", f"{b64u(moved.written())}.{body}", "not_opened"),
        ("sealed to another clinic's key", f"{head}.{b64u(foreign)}", "not_opened"),
        ("sealed with the key of a wrong birth date", late, "wrong_answer_key"),
        ("shorter than any envelope", f"{head}.{b64u(bytes(65))}", "malformed"),
        ("no dot", head + body, "malformed"),
        ("two dots", text + ".", "malformed"),
        ("padded base64", text + "=", "malformed"),
        ("white space at its end", text + "\n", "malformed"),
        ("a header with one member more", f"{b64u(extra)}.{body}", "malformed"),
        ("a header that names a member twice", f"{b64u(doubled)}.{body}", "malformed"),
        ("a version that is no integer", f"{b64u(decimal)}.{body}", "malformed"),
        ("another suite", f"{b64u(suite)}.{body}", "malformed"),
        ("empty", "", "malformed"),
    ]
    cases = [{"name": "opens", "expect": "success", "envelope": text, "sha256": parse_envelope(text).sha256.hex()}]
    cases += [{"name": n, "expect": e, "envelope": t} for n, t, e in bad]
    return {
        "source": SOURCE,
        "private_scalar": f"{0x59EA2:064x}",
        "public_point": b64u(public_point(private.public_key())),
        "answer_key": answer_key.hex(),
        "key_id": "k-test-1",
        "envelope_id": str(header.envelope_id),
        "lookup": header.lookup.hex(),
        "payload": payload.decode(),
        "too_large_length": 262_145,
        "cases": cases,
    }


def payload_cases() -> list[dict[str, Any]]:
    """Payloads that are read, and those that are held as `answers_not_valid` or `not_json` before anyone looks at what a form asks."""
    at = "2026-06-15T09:00:00.000Z"
    both = {"format": 1, "sheet_revision": 3, "language": "en", "build": "1.0"}
    place = {"utc_offset_minutes": 120, "time_zone": "Europe/Madrid", "clock_skew_ms": -250}
    form = {**both, "form_id": str(uuid.UUID(int=9)), "opened_at": at, "finished_at": at, **place, "mode": "own_phone"}
    form |= {"answered_by": "patient", "device": {"screen": "360x640", "browser": "x"}, "parts": []}
    said = {"kind": "notice", "notice": "wrong_side", "form_id": form["form_id"], "true_side": "left", "noticed_at": at}
    notice = {**both, **said, **place}
    good = [
        ("a form", form),
        ("a form that says that it is one", {**form, "kind": "form"}),
        ("a notice within a form", notice),
        ("a notice on the list", {**notice, "notice": "died", "form_id": None, "true_side": None}),
        ("a member that the protocol does not name", {**notice, "more": 1}),
        ("a phone without a clock", {**form, "opened_at": "1970-01-01T00:00:00.000Z"}),
    ]
    bad = [
        ("another format", {**form, "format": 2}),
        ("another kind", {**form, "kind": "letter"}),
        ("another notice", {**notice, "notice": "hello"}),
        ("a true side without a wrong one", {**notice, "notice": "call_me"}),
        ("a side that is none", {**notice, "true_side": "both"}),
        ("a form id that is none", {**notice, "form_id": "9"}),
        ("a form without an id", {**form, "form_id": None}),
        ("an instant with a line end", {**notice, "noticed_at": at + "\n"}),
        ("a language with a line end", {**form, "language": "en\n"}),
        ("an instant before 1970", {**form, "finished_at": "1969-12-31T23:59:59.999Z"}),
        ("an instant after 2099", {**form, "finished_at": "2100-01-01T00:00:00.000Z"}),
    ]
    cases = [{"name": name, "expect": "success", "payload": compact_json(each).decode()} for name, each in good]
    cases += [
        {"name": name, "expect": "answers_not_valid", "payload": compact_json(each).decode()} for name, each in bad
    ]
    return [*cases, {"name": "a member twice", "expect": "not_json", "payload": '{"format":1,"format":1}'}]


def hpke_document() -> dict[str, Any]:
    text = importlib.resources.files("cryptography_vectors").joinpath("HPKE/test-vectors.json").read_text()
    ours = [v for v in json.loads(text) if (v["mode"], v["kem_id"], v["kdf_id"], v["aead_id"]) == (0, 16, 1, 2)]
    names = ("info", "ikmE", "pkEm", "skEm", "ikmR", "pkRm", "skRm", "enc", "shared_secret", "key", "base_nonce")
    cases = [
        {"name": "base mode", "expect": "success", **{n: v[n] for n in names}, "encryptions": v["encryptions"][:8]}
        for v in ours
    ]
    return {
        "source": "RFC 9180 test vectors as shipped by the cryptography_vectors package, mode 0, suite 0010-0001-0002",
        "cases": cases,
    }


def main() -> None:
    _write("token.json", {"source": SOURCE, "cases": token_cases()})
    _write("derivation.json", {"source": SOURCE, "cases": derivation_cases()})
    _write("due_sheet.json", {"source": SOURCE, "cases": due_sheet_cases()})
    _write("envelope.json", envelope_document())
    _write("payload.json", {"source": SOURCE, "cases": payload_cases()})
    _write("hpke.json", hpke_document())


if __name__ == "__main__":
    main()
