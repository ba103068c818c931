"""The shared vectors, success and every failure class; the phone's tests read the same files."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from pyhpke import KEMKey, KEMKeyPair

from server.crypto import derive
from server.crypto.encoding import EncodingProblem, unb64u
from server.crypto.envelope import LONGEST, SUITE, EnvelopeProblem, open_envelope, parse_envelope
from server.crypto.sheet import SealedSheet, SheetProblem, open_sheet
from server.crypto.token import TokenProblem, read_token, write_token
from tests import stranger
from tests.stranger import HPKE

VECTORS = Path(__file__).parent.parent / "vectors"


def document(name: str) -> dict[str, Any]:
    return dict(json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8")))


def cases(name: str) -> list[Any]:
    return [pytest.param(each, id=each["name"]) for each in document(name)["cases"]]


@pytest.mark.parametrize("case", cases("token"))
def test_a_token_reads_or_fails_as_its_vector_says(case: dict[str, Any]) -> None:
    if case["expect"] == "success":
        assert read_token(case["text"]).hex() == case["raw"]
    else:
        with pytest.raises(TokenProblem) as caught:
            read_token(case["text"])
        assert caught.value.reason == case["expect"]


@pytest.mark.parametrize("case", cases("derivation"))
def test_the_four_derivations_give_the_vector_in_both_implementations(case: dict[str, Any]) -> None:
    raw, born = read_token(case["token"]), date.fromisoformat(case["born"])
    assert derive.lookup(raw).hex() == case["lookup"]
    assert derive.proof(raw, born).hex() == case["proof"]
    assert derive.due_key(raw, born).hex() == case["due_key"]
    assert derive.answer_key(raw, born).hex() == case["answer_key"]
    client = stranger.Stranger(case["token"], born, lambda _path, _body: stranger.Reply(0, None))
    assert [client.lookup.hex(), *(client.derived(name).hex() for name in ("proof", "due key", "answer key"))] == [
        case[name] for name in ("lookup", "proof", "due_key", "answer_key")
    ]


@pytest.mark.parametrize("case", cases("due_sheet"))
def test_a_due_sheet_opens_or_fails_as_its_vector_says(case: dict[str, Any]) -> None:
    sheet = SealedSheet(case["revision"], unb64u(case["nonce"]), unb64u(case["ciphertext"]))
    key, lookup = bytes.fromhex(case["due_key"]), bytes.fromhex(case["lookup"])
    if case["expect"] == "success":
        assert open_sheet(key, lookup, sheet).decode() == case["plain"]
    else:
        with pytest.raises(SheetProblem):
            open_sheet(key, lookup, sheet)


@pytest.mark.parametrize("case", cases("envelope"))
def test_an_envelope_opens_or_fails_as_its_vector_says(case: dict[str, Any]) -> None:
    known = document("envelope")
    private = ec.derive_private_key(int(known["private_scalar"], 16), ec.SECP256R1())
    answer_key = bytes.fromhex(known["answer_key"])
    if case["expect"] == "success":
        envelope = parse_envelope(case["envelope"])
        assert envelope.sha256.hex() == case["sha256"]
        assert str(envelope.header.envelope_id) == known["envelope_id"]
        assert open_envelope(envelope, private, [answer_key]).decode() == known["payload"]
    else:
        with pytest.raises(EnvelopeProblem) as caught:
            open_envelope(parse_envelope(case["envelope"]), private, [answer_key])
        assert caught.value.reason == case["expect"]


def test_an_envelope_longer_than_the_limit_is_too_large_before_anything_else() -> None:
    with pytest.raises(EnvelopeProblem) as caught:
        parse_envelope("A" * (LONGEST + 1))
    assert caught.value.reason == "too_large"
    assert document("envelope")["too_large_length"] == LONGEST + 1


def test_an_earlier_answer_key_still_verifies() -> None:
    known = document("envelope")
    private = ec.derive_private_key(int(known["private_scalar"], 16), ec.SECP256R1())
    envelope = parse_envelope(known["cases"][0]["envelope"])
    assert (
        open_envelope(envelope, private, [bytes(32), bytes.fromhex(known["answer_key"])]).decode() == known["payload"]
    )


@pytest.mark.parametrize("case", cases("hpke"))
def test_the_strangers_hpke_agrees_with_the_official_rfc_9180_vectors(case: dict[str, Any]) -> None:
    kem, info = HPKE.kem, bytes.fromhex(case["info"])
    public, private, own = (bytes.fromhex(case[name]) for name in ("pkRm", "skRm", "skEm"))
    ephemeral = KEMKeyPair(kem.deserialize_private_key(own), kem.deserialize_public_key(bytes.fromhex(case["pkEm"])))
    enc, sending = HPKE.create_sender_context(kem.deserialize_public_key(public), info, eks=ephemeral)
    receiving = HPKE.create_recipient_context(enc, kem.deserialize_private_key(private), info)
    assert enc.hex() == case["enc"] and len(case["encryptions"]) > 1
    for each in case["encryptions"]:
        sealed, plain, aad = (bytes.fromhex(each[name]) for name in ("ct", "pt", "aad"))
        assert (sending.seal(plain, aad), receiving.open(sealed, aad)) == (sealed, plain)


@pytest.mark.parametrize("case", cases("hpke"))
def test_the_servers_suite_opens_what_is_sealed_with_the_official_vectors_key(case: dict[str, Any]) -> None:
    """The server's library takes no AAD, so the vector's own `key` and `base_nonce` seal once with an empty one."""
    key, nonce = bytes.fromhex(case["key"]), bytes.fromhex(case["base_nonce"])
    private = ec.derive_private_key(int(case["skRm"], 16), ec.SECP256R1())
    sealed = bytes.fromhex(case["enc"]) + AESGCM(key).encrypt(nonce, b"Beauty is truth", b"")
    assert SUITE.decrypt(sealed, private, bytes.fromhex(case["info"])) == b"Beauty is truth"
    with pytest.raises(InvalidTag):
        SUITE.decrypt(sealed, private, b"other info")


def test_the_servers_hpke_and_the_strangers_open_each_other() -> None:
    private = ec.generate_private_key(ec.SECP256R1())
    enc, sending = HPKE.create_sender_context(KEMKey.from_pyca_cryptography_key(private.public_key()), b"info")
    assert SUITE.decrypt(enc + sending.seal(b"one"), private, b"info") == b"one"
    sealed = SUITE.encrypt(b"two", private.public_key(), b"info")
    receiving = HPKE.create_recipient_context(sealed[:65], KEMKey.from_pyca_cryptography_key(private), b"info")
    assert receiving.open(sealed[65:]) == b"two"


@pytest.mark.parametrize("text", ["AA==", "A A", "A", "AB", "AA\n", "+/+/", "é"])
def test_base64url_in_any_but_its_one_form_is_refused(text: str) -> None:
    with pytest.raises(EncodingProblem):
        unb64u(text)


def test_every_single_wrong_character_and_every_swap_of_a_token_is_caught() -> None:
    token = write_token(bytes.fromhex("00112233445566778899aabbccddeeff"))
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
    wrong = [
        token[:place] + other + token[place + 1 :] for place in range(28) for other in alphabet if other != token[place]
    ]
    for left in range(26):
        for right in range(left + 1, 26):
            letters = list(token)
            letters[left], letters[right] = letters[right], letters[left]
            if "".join(letters) != token:
                wrong.append("".join(letters))
    for text in wrong:
        with pytest.raises(TokenProblem):
            read_token(text)
    assert len(wrong) > 1000
