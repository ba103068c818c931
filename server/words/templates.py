"""Sentences in Jinja templates: `{% trans %}`, `_()`, `pgettext()`, `plural()`, in the language of the template's own `words`."""

from typing import cast

from jinja2 import Environment, pass_context
from jinja2.runtime import Context

from server.words.language import Words


def add_translation(environment: Environment) -> None:
    """Whoever renders hands in `words`; a template that got none fails rather than speak English.

    A macro that says something is therefore imported `with context`.
    """
    environment.add_extension("jinja2.ext.i18n")
    environment.policies["ext.i18n.trimmed"] = True  # a sentence may run over several lines of a template
    install = environment.install_gettext_callables  # type: ignore[attr-defined]
    install(_gettext, _ngettext, newstyle=True, pgettext=_pgettext, npgettext=_npgettext)
    environment.globals["plural"] = _plural


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
