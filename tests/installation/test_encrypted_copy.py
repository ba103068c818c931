"""The recipe of README.md that encrypts a copy, run as it stands there."""

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from server.trust.backup.place import verify
from tests.installation.copied import Copied, on_sqlite
from tests.structure.tree import text_of

__all__ = ["on_sqlite"]


@pytest.mark.skipif(shutil.which("gpg") is None, reason="gpg is not installed")
def test_a_copy_is_encrypted_and_comes_back_byte_for_byte(on_sqlite: Copied) -> None:
    recipe = re.findall(r"^tar -C .*$|^gpg --batch .*$", text_of(Path("README.md")), re.MULTILINE)
    assert len(recipe) == 2
    made = on_sqlite.data()
    secret, elsewhere = (on_sqlite.folder / name for name in ("secret", "elsewhere"))
    secret.write_text("seven slow lanterns\n")
    elsewhere.mkdir()
    names = {"PLACE": made.folder.parent, "COPY": made.folder.name, "SECRET": secret, "ELSEWHERE": elsewhere}
    # Its agent listens on a socket in this folder, whose path must be short.
    with tempfile.TemporaryDirectory(prefix="gnupg-") as home:
        for line in recipe:
            command = re.sub(r"\b(PLACE|COPY|SECRET|ELSEWHERE)\b", lambda found: str(names[found[0]]), line)
            said = subprocess.run(
                ["bash", "-o", "pipefail", "-c", command], cwd=on_sqlite.folder, env={"PATH": "/usr/bin:/bin", "GNUPGHOME": home},
                check=False, capture_output=True, text=True,
            )  # fmt: skip
            assert said.returncode == 0, said.stderr
    assert b"Test Clinic" not in (on_sqlite.folder / f"{made.folder.name}.tar.gpg").read_bytes()
    assert verify(elsewhere / made.folder.name) == made.manifest
