"""Small instruments and forms to try things on, as files would hold them."""

from typing import Any

from scoring.definition import Definition
from scoring.library import Library, load_library
from scoring.parse import parse_definition


def library() -> Library:
    return load_library()


def definition_data(**changes: Any) -> dict[str, Any]:
    """A definition.json with one item of each type; `changes` replace its members."""
    return {
        "id": "trial",
        "version": "1",
        "title": "Trial",
        "kind": "instrument",
        "status": "usable",
        "recall": "now",
        "side": True,
        "items": [
            {"item": "1", "type": "choice", "codes": [1, 0], "topic": "choice"},
            {"item": "1a", "type": "month", "asked_if": {"item": "1", "codes": [1]}, "topic": "month"},
            {"item": "2", "type": "integer", "min": 0, "max": 100, "step": 5, "unit": "percent", "topic": "integer"},
            {"item": "3", "type": "scale", "min": 0, "max": 10, "not_applicable": True, "topic": "scale"},
            {"item": "4", "type": "text", "max_length": 20, "identifying": True, "topic": "text"},
        ],
        "scales": [scale_data()],
        "thresholds": [threshold_data()],
        "licence": {"terms": "free", "source": "none", "needs_permission": False},
        "sources": ["made for tests"],
    } | changes


def scale_data(**changes: Any) -> dict[str, Any]:
    return {
        "scale": "total",
        "title": "Total",
        "range": [0, 11],
        "better": "higher",
        "decimals": 0,
        "rule": {"name": "sum", "items": ["1", "3"]},
        "missing": {"name": "complete", "source": "made for tests"},
        "method": "sum of both",
    } | changes


def threshold_data(**changes: Any) -> dict[str, Any]:
    return {
        "kind": "mcid",
        "scale": "total",
        "value": 2.5,
        "population": "nobody",
        "treatment": "arthroplasty",
        "holds_hemiarthroplasty": None,
        "anchor": "none",
        "follow_up": "2 years",
        "follow_up_days": 730,
        "n": None,
        "citation": "made for tests",
    } | changes


def text_data(**changes: Any) -> dict[str, Any]:
    """The words for `definition_data()`."""
    return {
        "text_id": "trial@1/en/descriptive-1",
        "instrument": "trial@1",
        "language": "en",
        "kind": "descriptive",
        "title": "Trial",
        "recall": "Now",
        "items": {
            "1": {"stem": "Is your {side} arm well?", "hint": "", "options": {"1": "Yes", "0": "No"}},
            "1a": {"stem": "Since when?", "hint": ""},
            "2": {"stem": "How many percent?", "hint": "", "low": "none", "high": "all"},
            "3": {"stem": "How much?", "hint": "", "low": "none", "high": "all", "not_applicable": "Not yet"},
            "4": {"stem": "Who are you?", "hint": ""},
        },
    } | changes


def trial(**changes: Any) -> Definition:
    return parse_definition(definition_data(**changes), "trial.json")
