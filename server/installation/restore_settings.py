"""With which settings a clinic is restored, and what is to stand in its `yearmark.env` then: what the machine knew died with it.

The file lies beside the keys in their copy, and is put back if there is none; one that is there is never written over. Keys go apart
from the data, beside the folder, unless somebody has said where: in the environment, in a `yearmark.env` that is there, or by putting
them into the folder `keys` by hand. The database is the one that the environment names, else the one of that file, and what is written
names it. The file is written last, under the mark of the unfinished restore, so that one that was killed
finds the same places again.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from server.config import ENVIRONMENT_FILE, SETTINGS, SettingProblem, Settings, data_folder, read_settings, with_file
from server.installation.environment_file import KEYS, environment_text, keys_beside, with_others
from server.trust.keys import KeyFolder

DATABASE = "YEARMARK_DATABASE_URL"


@dataclass(frozen=True)
class RestorePlace:
    """`environment`: the content for `yearmark.env`, None where one is there; `is_kept`: whether it comes out of the copy of the keys."""

    settings: Settings
    environment: bytes | None
    is_kept: bool


def restore_place(data: Path | None, keys_copy: Path | None, given: Mapping[str, str] = os.environ) -> RestorePlace:
    """Raises SettingProblem."""
    folder = data_folder(given, data)
    if (folder / ENVIRONMENT_FILE).exists():
        settings = read_settings(given, data=folder)
        _refuse_another_database(settings)
        return RestorePlace(settings, None, is_kept=False)
    kept = _kept(keys_copy)
    settings = read_settings(_with_database(keys_copy if kept else None, given), data=folder)
    if not _said(given) and KeyFolder(settings.keys).is_empty():
        settings = replace(settings, keys=keys_beside(folder))
    text = _of_environment(settings, given) if kept is None else with_others(kept, _used(settings, given))
    return RestorePlace(settings, text.encode(), is_kept=kept is not None)


def _said(given: Mapping[str, str]) -> bool:
    return any(given.get(name) for name in (KEYS, f"{KEYS}_FILE"))


def _kept(keys_copy: Path | None) -> str | None:
    if keys_copy is None:
        return None
    try:
        return (keys_copy / ENVIRONMENT_FILE).read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as problem:
        raise SettingProblem(f"{keys_copy / ENVIRONMENT_FILE} cannot be read: {problem}") from problem


def _with_database(keys_copy: Path | None, given: Mapping[str, str]) -> dict[str, str]:
    """Of the kept settings the database alone is needed now. Other things that they name, such as a password's file, may come later."""
    if keys_copy is None:
        return dict(given)
    known = with_file(keys_copy, given)
    return {**{name: text for name, text in known.items() if name.removesuffix("_FILE") == DATABASE}, **given}


def _refuse_another_database(settings: Settings) -> None:
    own = with_file(settings.data, {})
    says = any(own.get(name) for name in (DATABASE, f"{DATABASE}_FILE"))
    if says and read_settings(own, data=settings.data).database_url != settings.database_url:
        raise SettingProblem(
            f"{settings.data / ENVIRONMENT_FILE} names another database than {DATABASE}, and the next start without that would open it. "
            "Nothing was changed. Let both name the database to restore into, or take the line out of the file"
        )


def _used(settings: Settings, given: Mapping[str, str]) -> dict[str, str]:
    """What a start without this environment has to find again: it would else open the lost machine's database, and send from it."""
    place = {KEYS: str(settings.keys)}
    for name in (f"{DATABASE}_FILE", DATABASE):
        if given.get(name):
            return {**place, name: given[name]}
    told_none = DATABASE in given or f"{DATABASE}_FILE" in given
    return {**place, DATABASE: ""} if told_none else place


def _of_environment(settings: Settings, given: Mapping[str, str]) -> str:
    """As the set-up does: what this start was told stays known to the commands after it."""
    names = {setting.name for setting in SETTINGS[1:]}
    told = {name: text for name, text in given.items() if name.removesuffix("_FILE") in names - {KEYS}}
    return environment_text({**told, KEYS: str(settings.keys)})
