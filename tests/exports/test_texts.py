"""The codebook says whose words each text was, and holds none of an owner's words."""

from datetime import date

from server.exports.codebook import text_entry
from server.models import InstalledText


def test_a_licensed_text_stands_there_with_owner_licence_version_and_hash() -> None:
    row = InstalledText(
        text_id="sst@1/es/licensed-1",
        owner="Imagined Institute",
        licence_reference="IMG-17",
        translation_version="1.0",
        dated_on=date(2026, 1, 31),
        sha256=b"\x01" * 32,
        content="the owner's words",
    )
    entry = text_entry(row.text_id, row)
    assert (entry.name, entry.label) == ("sst@1/es/licensed-1", "Licensed text")
    assert (
        entry.note
        == f"Owner: Imagined Institute; licence: IMG-17; translation version 1.0 of 2026-01-31; SHA-256 {'01' * 32}"
    )
    assert "owner's words" not in " ".join(map(str, entry))


def test_a_descriptive_text_says_that_it_is_one() -> None:
    assert "not the owner's text" in text_entry("sst@1/en/descriptive-1", None).note
