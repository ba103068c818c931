"""thresholds.csv: every published threshold of the scales that occur, in whom it was found, and for which shoulders pages use it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from scoring.definition import THRESHOLD_KINDS, TREATMENTS, Definition, Threshold
from scoring.library import Library
from scoring.threshold_choice import RULE, choose_threshold, may_be_called_improved
from server.exports.column import YES_NO, Column
from server.fields.operation_words import IMPLANT_TYPES, threshold_type

THRESHOLDS = "thresholds.csv"
_KINDS = {"mcid": "smallest change that matters", "scb": "large change", "detectable_change": "measurement error",
    "pass": "acceptable state"}  # fmt: skip


@dataclass(frozen=True)
class ThresholdRow:
    """`used_for`: the implant types of the shoulders that pages judge by it; `improved_for`: those of them whose gain it makes improved."""

    definition: Definition
    threshold: Threshold
    used_for: tuple[str, ...]
    improved_for: tuple[str, ...]
    as_of: date


def threshold_rows(instruments: Iterable[str], library: Library, as_of: date) -> Iterator[ThresholdRow]:
    for spec in sorted(instruments):
        if spec not in library.definitions:  # no longer shipped
            continue
        definition = library.definitions[spec]
        for threshold in definition.thresholds:
            used = tuple(_used_for(definition, threshold))
            yield ThresholdRow(definition, threshold, used, tuple(_improved_for(threshold, used)), as_of)


def _used_for(definition: Definition, threshold: Threshold) -> Iterator[str]:
    for implant_type in IMPLANT_TYPES:
        implant = threshold_type(implant_type)
        # Measurement error is that beside the smallest change that matters.
        beside = choose_threshold(definition, threshold.scale, "mcid", implant=implant)
        if choose_threshold(definition, threshold.scale, threshold.kind, implant=implant, beside=beside) == threshold:
            yield implant_type


def _improved_for(threshold: Threshold, used_for: Iterable[str]) -> Iterator[str]:
    for implant_type in used_for:
        if threshold.kind == "mcid" and may_be_called_improved(threshold, threshold_type(implant_type)):
            yield implant_type


def _column(name: str, label: str, type: str, value: Callable[[ThresholdRow], object], **more: Any) -> Column:
    return Column(name, label, type, (THRESHOLDS,), value, source="definition", **more)


def _bar(words: Iterable[str]) -> str | None:
    return " | ".join(words) or None


COLUMNS: tuple[Column, ...] = (
    _column("instrument", "Instrument and version", "text", lambda r: r.definition.spec),
    _column("scale", "Scale", "text", lambda r: r.threshold.scale),
    _column("kind", "What kind of threshold it is", "word", lambda r: r.threshold.kind,
        codes=tuple(f"{kind} = {_KINDS[kind]}" for kind in THRESHOLD_KINDS)),
    _column("threshold", "The value", "number", lambda r: r.threshold.value),
    _column("plus_minus", "Spread that the source prints beside it", "number", lambda r: r.threshold.plus_minus),
    _column("limit_low", "Lower confidence limit as printed", "number", lambda r: (r.threshold.limits or (None, None))[0]),
    _column("limit_high", "Upper confidence limit as printed", "number", lambda r: (r.threshold.limits or (None, None))[1]),
    _column("n", "People it was found in", "integer", lambda r: r.threshold.n),
    _column("population", "Who they were", "text", lambda r: r.threshold.population),
    _column("treatment", "What they had had done", "word", lambda r: r.threshold.treatment, codes=TREATMENTS),
    _column("implants", "Implant types to which all of them belonged; empty: not only one", "text", lambda r: _bar(r.threshold.implants)),
    _column("hemiarthroplasty", "Some of them had a hemiarthroplasty; empty: the source does not say", "integer",
        lambda r: r.threshold.holds_hemiarthroplasty, codes=YES_NO),
    _column("anchor", "What it was found by", "text", lambda r: r.threshold.anchor),
    _column("distribution_based", "Worked out from the spread of scores, by no answer of the people", "integer",
        lambda r: r.threshold.distribution_based, codes=YES_NO),
    _column("follow_up", "How long after treatment, as printed", "text", lambda r: r.threshold.follow_up),
    _column("follow_up_days", "The shortest follow-up", "integer", lambda r: r.threshold.follow_up_days, unit="days"),
    _column("confidence_percent", "Confidence of a measurement error", "integer", lambda r: r.threshold.confidence_percent, unit="percent"),
    _column("range_end", "The source prints a range, and this is one end of it", "integer", lambda r: r.threshold.range_end, codes=YES_NO),
    _column("citation", "Source", "text", lambda r: r.threshold.citation),
    _column("note", "What else is to be known", "text", lambda r: r.threshold.note),
    _column("used_for", "Implant types of the shoulders that pages judge by it; empty: none", "text",
        lambda r: _bar(r.used_for), note=f"{RULE} An implant type that is not recorded is judged as one that is unknown."),
    _column("improved_for", "Of these, the implant types whose gain the pages call improved by it", "text",
        lambda r: _bar(r.improved_for),
        note="After a first operation, a year or more after it. Where it is empty, a gain that reaches the value is told in points alone"),
    _column("as_of", "Day on which statuses were computed", "date", lambda r: r.as_of),
)  # fmt: skip
