"""`yearmark clinic`: what a person typed about a live clinic is checked, then set up or brought up to date."""

from collections.abc import Iterable, Mapping

from server.clinic.settings import ASKED, change_settings, check_settings, reached_by, tidy
from server.fields.check import in_english
from server.fields.field import Errors, Kind, Value
from server.fields.read_form import BETWEEN_LANGUAGE_AND_NAME, read_form
from server.installation.runtime import Runtime
from server.installation.set_up import LANGUAGES, ClinicEntry, clinic_mode, migrate, set_up_clinic
from server.models import Clinic

Typed = Mapping[str, str | tuple[str, ...]]
BETWEEN_LANGUAGE_AND_TEXT = "="
FIRST = "first language"  # stands for the clinic's first language until that is known


class EntryProblem(ValueError):
    """What was typed is not valid; the message says all that is wrong, by option, and what may be typed instead."""


def enter_clinic(runtime: Runtime, typed: Typed) -> list[str] | None:
    """None when a live clinic was set up; for an existing one the options that changed it. What is left out stays as it is.

    Raises EntryProblem, NotReady and FolderBusy. A demo's folder is refused before anything in it is changed.
    """
    values = _read(typed)
    hours = {"phone_hours": values.pop("phone_hours")}  # which language comes first may stand in the database
    mode = clinic_mode(runtime)
    # Numbers and hours of a clinic that exists are compared with those that stand, below.
    is_kept = mode == "live"
    first = check_settings(values, live=True, kept=values if is_kept else None)
    _refuse({**first, **check_settings(hours, live=True, kept=hours if is_kept else None)})
    if mode == "demo":
        raise EntryProblem(f"{runtime.settings.data} holds a demo; give the clinic a folder of its own: --data DIR")
    migrate(runtime)
    with runtime.store.writing() as session:
        now = runtime.real_clock()
        clinic = session.get(Clinic, 1)
        full = _with_what_is_kept({**values, **hours}, clinic)
        _refuse(check_settings(full, live=True, kept=reached_by(clinic) if clinic else None))
        set_up_clinic(session, ClinicEntry("live", **full), runtime.keys, now=now)
        return None if mode is None else [_option(name) for name in change_settings(session, full, now=now, by_id=None)]


def check_new_clinic(typed: Typed) -> None:
    """What can be known before a folder is made. Raises EntryProblem."""
    _refuse(check_settings(_with_what_is_kept(_read(typed), None), live=True))


def problems_of(name: str, text: str, *, language: str | None = None) -> list[str]:
    """Why this one answer cannot be, by the rules of the settings page; empty when it can. `language`: of a text in several."""
    field = next(each for each in ASKED if each.name == name)
    suffix = f"{BETWEEN_LANGUAGE_AND_NAME}{language}" if language else ""
    values, errors = read_form([field], {f"{name}{suffix}": text}, languages=[language] if language else [])
    return [
        sentence
        for found in (errors or check_settings(tidy(values), live=True)).values()
        for sentence in in_english(found)
    ]


def _read(typed: Typed) -> dict[str, Value]:
    """The values of the options that were given, each read as the settings page reads its fields."""
    given = [field for field in ASKED if typed.get(field.name) not in (None, "", ()) or field.required]
    form: dict[str, str] = {}
    codes: list[str] = []
    for field in given:
        text = typed.get(field.name) or ""
        if field.kind == Kind.BY_LANGUAGE:
            for code, words in map(_split, text):
                form[f"{field.name}{BETWEEN_LANGUAGE_AND_NAME}{code}"] = words
                codes.append(code)
        else:
            form[field.name] = text if isinstance(text, str) else "\n".join(text)
    if not typed.get("languages"):
        given = [field for field in given if field.name != "languages"]
    values, errors = read_form(given, form, languages=codes)
    _refuse(errors)
    return tidy(values)


def _split(text: str) -> tuple[str, str]:
    """`es=lunes a viernes` is Spanish; words alone are in the clinic's first language."""
    code, equals, words = text.partition(BETWEEN_LANGUAGE_AND_TEXT)
    return (code.strip(), words) if equals else (FIRST, text)


def _with_what_is_kept(values: Mapping[str, Value], clinic: Clinic | None) -> dict[str, Value]:
    """The hours under the clinic's own languages; those of a language that was not named stay."""
    languages = str(values.get("languages") or (clinic.languages if clinic else LANGUAGES))
    full = {**values, "languages": languages}
    hours = values.get("phone_hours")
    if isinstance(hours, Mapping):
        first = languages.split(",")[0]
        named = {first if code == FIRST else code: text for code, text in hours.items()}
        full["phone_hours"] = {**(clinic.phone_hours if clinic else {}), **named}
    return full


def _refuse(errors: Errors) -> None:
    if errors:
        raise EntryProblem("; ".join(_sentences(errors)))


def _sentences(errors: Errors) -> Iterable[str]:
    for name, sentences in errors.items():
        yield f"{_option(name)}: {' '.join(in_english(sentences))}"


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"
