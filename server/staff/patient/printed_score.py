"""A score as pages print it, with the way to where it comes from."""

from dataclasses import dataclass

from flask import url_for
from markupsafe import Markup

from scoring.definition import Definition, Scale
from scoring.printed_decimals import half_up
from server.staff.page import words

PERCENT = "\u00a0%"  # never on a line of its own


@dataclass(frozen=True)
class PrintedScore:
    """One printed score: its text, and its place on the page of the answers behind it."""

    value: float
    text: str
    href: str
    when: str  # "year 3"

    @property
    def link(self) -> Markup:
        return Markup('<a href="{}">{}</a>').format(self.href, self.text)


def scale_anchor(instrument: str, scale: str) -> str:
    """On the page of a response: where this scale explains itself."""
    return f"{instrument}-{scale}"


def score_href(response_id: int, instrument: str, scale: str) -> str:
    return url_for("staff.response", response_id=response_id, _anchor=scale_anchor(instrument, scale))


def format_score(definition: Definition, scale: Scale, value: float) -> str:
    """With as many decimals as the scale shows, and its unit when the score is an answer in percent."""
    single = scale.rule.name == "value" and scale.rule.items
    unit = definition.by_item[scale.rule.items[0]].unit if single else None
    return f"{half_up(value, scale.decimals)}{PERCENT if unit == 'percent' else ''}"


def points(by: float, scale: Scale) -> str:
    """An amount of change without its sign: "1 point", "2.5 points"."""
    text = half_up(abs(by), scale.decimals)
    return words.ngettext("%(points)s point", "%(points)s points", 1 if text == "1" else 2) % {"points": text}
