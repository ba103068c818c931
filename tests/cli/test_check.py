"""`yearmark check`: exit 1 with a list of what to do, 0 once all is ready, and a folder that is no clinic refused."""

import socket
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import update

from server.clinic.settings import change_settings
from server.installation.runtime import Runtime
from server.models import BackupCopy, RestoreProof, SafetyNet, StaffPasskey
from server.queries.safety_net import default_net
from server.staff.account.accounts import create_account
from server.texts.decision import descriptive_in_use, record_decision, set_hash
from server.texts.notices import Wording, install_version
from tests.cli.shell import Shell, refusal
from tests.installation.tls import NOW, behind_tls, certificate

HOST = "followup.harbour-shoulder.org"


def test_a_clinic_that_is_not_ready_is_told_what_to_do(live: Shell) -> None:
    said = live.on_data("check")
    assert said.exit_code == 1
    assert "is an example: no patient reaches it.\n   Enter the clinic's own address in the settings." in said.stdout
    assert "There is no account of a data manager." in said.stdout and "keys were never copied" in said.stdout
    assert f"{Path(sys.executable).with_name('yearmark')} backup --data {live.data} --to PLACE" in said.stdout
    assert "Not ready for patients: " in said.stdout and "  The database answers" in said.stdout


def test_a_clinic_in_which_everything_was_done_is_ready(
    live: Shell, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Each point is mended as a clinic would; only its name leads to this machine, where its web server stands."""
    live.environment["YEARMARK_KEYS"] = str((live.data / "keys").rename(tmp_path / "apart"))
    file = certificate(tmp_path, NOW + timedelta(days=60), HOST)
    monkeypatch.setenv("SSL_CERT_FILE", str(file))
    look_up = socket.getaddrinfo
    monkeypatch.setattr("socket.getaddrinfo", lambda host, *more: look_up("127.0.0.1" if host == HOST else host, *more))
    with behind_tls(file, HOST) as address:
        runtime = live.runtime()
        _everything_done(runtime, address)
        runtime.store.engine.dispose()
        said = live.on_data("check")
    assert said.exit_code == 0, said.output
    assert "Not ready" not in said.stdout and "are ready for patients." in said.stdout


def _everything_done(runtime: Runtime, address: str) -> None:
    now = runtime.real_clock()
    with runtime.store.writing() as session:
        change_settings(session, {"base_url": address, "mail_from": f"Harbour <a@{HOST}>"}, now=now, by_id=None)
        by = create_account(session, f"dora@{HOST}", "Dora Quill", "data_manager", "hash", now)
        session.add(
            StaffPasskey(account_id=by.id, credential_id=b"1", public_key=b"k", sign_count=0, name="k", made_at=now)
        )
        shown = set_hash([each.text_id for each in descriptive_in_use(session, runtime.library)])
        record_decision(session, runtime.library, shown=shown, words="until the licences come", now=now, by_id=by.id)
        words = {code: Wording("Title", "Words.") for code in ("en", "es")}
        for kind in ("privacy", "contact"):
            install_version(session, kind, "1", words, replaces="", now=now, by_id=by.id)
        nurse = create_account(session, f"nora@{HOST}", "Nora Pennyreed", "nurse", "hash", now)
        session.add(default_net())
        session.flush()
        session.execute(update(SafetyNet).values(reader_id=nurse.id))
        copy = {"backup_id": "a", "made_at": now, "place": "there", "length": 1, "sha256": b"x"}
        session.add_all([BackupCopy(kind="data", **copy), BackupCopy(kind="keys", **copy)])
        session.add(RestoreProof(proved_at=now, backup_id="a", backup_made_at=now, same=True, detail="{}"))


def test_a_database_of_an_earlier_version_is_the_first_thing_to_mend(shell: Shell) -> None:
    shell.runtime().store.engine.dispose()  # a folder with keys and without a clinic
    said = shell.on_data("check")
    assert said.exit_code == 1 and "1. The clinic cannot be opened: this data folder has no clinic yet" in said.stdout


def test_a_folder_that_is_no_clinic_is_refused_and_left_as_it_is(shell: Shell) -> None:
    assert "has no clinic yet" in refusal(shell.on_data("check"))
    assert not shell.data.exists()
