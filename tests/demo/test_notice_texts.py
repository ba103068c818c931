"""What the invented clinic's privacy notice says of the phone is so: clinics will copy it."""

from importlib.resources import files

import pytest


@pytest.mark.parametrize(
    ("language", "stored", "opened", "birth"),
    [("en", "encrypted on this phone", "unlock the phone", "birth"), ("es", "cifradas en este teléfono", "desbloquear", "nacimiento")],
)  # fmt: skip
def test_unsent_answers_are_encrypted_and_open_to_whoever_unlocks_the_phone(
    language: str, stored: str, opened: str, birth: str
) -> None:
    """The key of drafts is random and lies in the same browser (pwa/src/store/people.ts): no birth date guards it."""
    notice = (files("server.demo") / "notice_texts" / f"privacy.{language}.txt").read_text("utf-8")
    of_the_phone = notice.split("\n# ")[-1]
    assert stored in of_the_phone and opened in of_the_phone
    assert birth not in notice
