"""A sentence and the choices at its figures as text, as a saved version keeps them, and back; and whom it means, as one digest."""

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import parse_qs, urlencode

from server.models import SeriesVersion
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence, sentence_in


def sentence_text(sentence: Sentence) -> str:
    """Equal for sentences with the same words chosen, in whatever order they were chosen."""
    return urlencode(sentence.address(), doseq=True)


def options_text(options: Mapping[str, str]) -> str:
    return urlencode(sorted(options.items()))


def sentence_of(version: SeriesVersion) -> Sentence:
    return sentence_in(parse_qs(version.sentence))[0]


def options_of(version: SeriesVersion) -> dict[str, str]:
    return {name: given[0] for name, given in parse_qs(version.options).items()}


def address_of(version: SeriesVersion) -> dict[str, Any]:
    """The arguments for url_for by which the figures of a version are opened under its name."""
    named = {"series": str(version.series_id), "version": str(version.number)}
    return {**sentence_of(version).address(), **options_of(version), **named}


def digests_of(*shoulders: Iterable[Row]) -> set[bytes]:
    """One for each set of shoulders in which anybody takes part: of their operations, whatever words mean them.

    Lines of the log and whoever does not take part have no outcome to look at: with or without them it is the same figure.
    """
    ids = [
        sorted(row.operation_id for row in rows if row.takes_part and row.operation_id is not None)
        for rows in shoulders
    ]
    return {hashlib.sha256(repr(each).encode()).digest() for each in ids if each}
