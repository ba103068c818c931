"""Sentences in Jinja templates: `{% trans %}`, `_()`, `pgettext()`, `plural()`, in the language of the template's own `words`."""

from collections.abc import Callable
from typing import Any, cast

from jinja2 import Environment, pass_context
from jinja2.runtime import Context

from server.words.language import Words
from server.words.phrase import Phrase
from server.words.term import Term


def add_translation(environment: Environment) -> None:
    """Whoever renders hands in `words`; a template that got none fails rather than speak English.

    A macro that says something is therefore imported `with context`.
    """
    environment.add_extension("jinja2.ext.i18n")
    environment.policies["ext.i18n.trimmed"] = True  # a sentence may run over several lines of a template
    install = environment.install_gettext_callables  # type: ignore[attr-defined]
    install(_gettext, _ngettext, newstyle=True, pgettext=_pgettext, npgettext=_npgettext)
    for name in ("gettext", "ngettext", "pgettext", "npgettext"):
        environment.globals[name] = _with_said_values(environment.globals[name])
    environment.globals["plural"] = _plural
    environment.finalize = _said


@pass_context
def _said(context: Context, value: object) -> object:
    """What a template shows: a sentence and a word of the field tables in its language, anything else as it is."""
    return _words(context).say(value) if isinstance(value, Phrase | Term) else value


def _with_said_values(translate: Any) -> Callable[..., Any]:
    @pass_context
    def translated(context: Context, *texts: Any, **values: object) -> Any:
        return translate(context, *texts, **{name: _said(context, value) for name, value in values.items()})

    return translated


def _words(context: Context) -> Words:
    return cast(Words, context["words"])


@pass_context
def _gettext(context: Context, text: str) -> str:
    return _words(context).gettext(text)


@pass_context
def _ngettext(context: Context, one: str, many: str, number: int) -> str:
    return _words(context).ngettext(one, many, number)


@pass_context
def _pgettext(context: Context, where: str, text: str) -> str:
    return _words(context).pgettext(where, text)


@pass_context
def _npgettext(context: Context, where: str, one: str, many: str, number: int) -> str:
    return _words(context).npgettext(where, one, many, number)


@pass_context
def _plural(context: Context, one: str, many: str, number: int) -> str:
    return _words(context).plural(one, many, number)
