"""The instrument pages: what is asked, scored, sourced and not, which threshold reads how, and where it is used."""

import pytest

from scoring.definition import Definition
from scoring.library import load_library
from tests.staff.course_case import add_part, followed, last_response, page_of, sheet
from tests.staff.staff_case import StaffCase
from tests.staff.tree import Node
from tests.texts.going_live import go_live
from tests.texts.test_sending import install

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

ALL = sorted(load_library().definitions.values(), key=lambda each: each.spec)


def part_of(page: Node, name: str) -> Node:
    found = page.by_id(name)
    assert found is not None, name
    return found


def definition(spec: str) -> Definition:
    return load_library().instrument(spec)


def test_every_instrument_has_its_page_with_an_anchor_for_each_scale_and_threshold(staff: StaffCase) -> None:
    assert len(ALL) > 10
    for each in ALL:
        page = page_of(staff, f"/instruments/{each.spec}")
        assert next(page.all("h1")).words == each.title
        assert all(page.by_id(f"scale-{scale.scale}") for scale in each.scales), each.spec
        rows = [row for row in page.all("tr") if row.attributes.get("id", "").startswith("threshold-")]
        assert [row.attributes["id"] for row in rows] == [f"threshold-{n}" for n in range(1, len(each.thresholds) + 1)]
        for row, threshold in zip(rows, each.thresholds, strict=True):
            assert threshold.citation in row.words and threshold.population[1:] in row.words, each.spec
        assert "Not known:" in part_of(page, "sources").words, each.spec


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("sst@1", "usable Can be sent."),
        (
            "oss@1",
            "needs permission Cannot be sent before its owner has agreed. Copyright Oxford University Innovation.",
        ),
        ("penn@1", "unverified Cannot be sent: part of it was not read in a published source. The words and the order"),
    ],
)
def test_the_status_says_why_it_cannot_be_sent(staff: StaffCase, spec: str, said: str) -> None:
    assert part_of(page_of(staff, f"/instruments/{spec}"), "status").words.startswith(said)


@pytest.mark.parametrize(
    ("spec", "scale", "rule", "blanks"),
    [
        ("sst@1", "total", "Add up items 1 to 12.", "all items are needed. No published rule was found"),
        ("sst@1", "total_if_blanks_yes", "Add up items", "each blank counts as 1: a bound, not a score of its own"),
        ("ases@1", "pain_points", "n becomes 10 - n.", "without an answer there is no value"),
        ("ases@1", "function", "Add up items 2 to 11.", "for all (rule without a published source)"),
        (
            "oss@1",
            "total",
            "Add up items 1 to 12.",
            "from 10 answers of 12 on, those given stand for all (rule from memory",
        ),
        ("oss@1", "old", "Take “Score” as it is. Then: n becomes 60 - n.", "as the scales that it is made of say"),
        ("spadi@1", "total", "Take the mean of “Pain” and “Disability”.", "as the scales that it is made of say"),
        (
            "spadi@1",
            "pain",
            "items 1 to 5.",
            "from 4 answers of 5 on, those given stand for all (rule read on a form copy only)",
        ),
        ("dash@1", "total", "Take the mean of items 1 to 30.", "(published rule)"),
        ("penn@1", "function", "items 5 to 24.", "if all others do not apply (rule from memory, unverified)"),
        (
            "promis-global@1",
            "physical",
            "n is looked up in a table: 4 gives 16.2",
            "as the scales that it is made of say",
        ),
    ],
)
def test_the_rule_and_what_its_blanks_rest_on_are_readable(
    staff: StaffCase, spec: str, scale: str, rule: str, blanks: str
) -> None:
    said = part_of(page_of(staff, f"/instruments/{spec}"), f"scale-{scale}").words
    assert rule in said and blanks in said, said


def test_a_threshold_that_no_score_meets_names_the_first_that_reaches_it(staff: StaffCase) -> None:
    """8.4 on a scale of whole numbers: 9. 2.3 points: 3."""
    page = page_of(staff, "/instruments/sst@1")
    rows = [row.words for row in part_of(page, "thresholds").all("tr")]
    assert any("8.4 the first score that reaches it is 9" in row and "no hemiarthroplasty in it" in row for row in rows)
    assert any(
        "2.3 the first change that reaches it is 3" in row and "hemiarthroplasty among them" in row for row in rows
    )
    assert any("2.8" in row and "whether with hemiarthroplasty: not stated" in row for row in rows)
    assert "never for a difference of groups" in part_of(page, "thresholds").words


def test_norms_are_no_reference_for_operated_shoulders(staff: StaffCase) -> None:
    norms = part_of(page_of(staff, "/instruments/oss@1"), "norms").words
    assert norms.startswith("Norms not a reference for operated shoulders") and "Clement and Court-Brown 2014" in norms
    assert part_of(page_of(staff, "/instruments/spadi@1"), "norms").words == "Norms None was read."


def test_without_thresholds_it_says_what_follows(staff: StaffCase) -> None:
    said = part_of(page_of(staff, "/instruments/satisfaction@1"), "thresholds").words
    assert "None was read, so no change on it is called improved, unchanged or worse." in said


def test_what_an_examiner_finds_is_marked(staff: StaffCase) -> None:
    page = page_of(staff, "/instruments/constant@1")
    marked = part_of(page, "items").words.count("found by an examiner")
    assert marked == sum(item.found_by == "examiner" for item in definition("constant@1").items) > 0
    assert "answered by the patient, nine items found by an examiner" in page.words


def test_what_is_not_sourced_is_a_plain_list(staff: StaffCase) -> None:
    sources = part_of(page_of(staff, "/instruments/ases@1"), "sources").words
    assert "What is not Blanks of" in sources and "rule without a published source" in sources
    assert "thresholds: whether hemiarthroplasty is among them is not stated in what was read" in sources
    assert "Norms: none was read" in sources


def test_worked_examples_are_folded_and_name_their_source(staff: StaffCase) -> None:
    scoring = part_of(page_of(staff, "/instruments/sst@1"), "scoring")
    folded = next(scoring.all("details"))
    assert "open" not in folded.attributes and "arithmetic on the published rule" in folded.words
    assert "Twelve times yes" in folded.words and "Score: 12" in folded.words


def test_where_it_is_used_and_how_often_it_was_answered(staff: StaffCase) -> None:
    assert "Answers here no forms by version 1" in page_of(staff, "/instruments/sst@1").words
    patient_id = followed(staff, sheet(3), sheet(9))
    add_part(staff, last_response(staff, patient_id), "ases@1", {str(item): 3 for item in range(1, 12)})
    counts = {"sst@1": "two forms", "since@2": "one form", "early@2": "no forms", "ases@1": "one form"}
    for spec, count in counts.items():
        assert f"Answers here {count} by version {spec[-1]}" in page_of(staff, f"/instruments/{spec}").words, spec
    used = page_of(staff, "/instruments/sst@1").words
    assert "Used in Close follow-up: before surgery, 6 months and years 1 to 60; Standard follow-up: before" in used
    assert "Standard follow-up: before surgery and years 1 to 60" in used
    asked = page_of(staff, "/instruments/preference@1").words
    assert (
        "Used in Of people with two operated shoulders: yearly forms of the later one, once both are a year old"
        in asked
    )
    assert "Answers here not counted" in asked and "no forms" not in asked
    assert (
        "Used in Close follow-up: 6 weeks; Standard follow-up: 6 weeks" in page_of(staff, "/instruments/early@2").words
    )
    assert "Used in no plan of this program" in page_of(staff, "/instruments/ases@1").words


def test_the_list_names_status_finder_use_and_answers(staff: StaffCase) -> None:
    followed(staff, None, sheet(9))
    rows = {row.words for row in next(page_of(staff, "/instruments").all("table", klass="catalogue")).all("tr")}
    assert any("Simple Shoulder Test" in row and "1 usable can be sent" in row for row in rows)
    assert any("Oxford Shoulder Score" in row and "needs permission" in row and "no plan none" in row for row in rows)
    assert any("Constant" in row and "nine items found by an examiner" in row and "unverified" in row for row in rows)
    assert len(rows) == len(ALL) + 1


def test_the_place_of_texts_and_of_sources_is_kept(staff: StaffCase) -> None:
    page = page_of(staff, "/instruments/sst@1")
    assert part_of(page, "words").words.startswith("The words patients read English: ")
    assert "1 (sst@1); there is no other" in page.words


def test_a_threshold_that_gives_no_verdict_here_says_so(staff: StaffCase) -> None:
    """Of own rating, those after cuff repair; measurement error may come from anybody."""
    rows = [row.words for row in next(page_of(staff, "/instruments/sane@1").all("table", klass="thresholds")).all("tr")]
    repaired = [row for row in rows if "Rotator cuff repair" in row]
    assert len(repaired) == 6 and all("used for no verdict here" in row for row in repaired)
    assert not any("used for no verdict here" in row for row in rows if row not in repaired)
    ases = page_of(staff, "/instruments/ases@1").by_id("threshold-2")
    assert ases is not None and "90 % confidence" in ases.words and "no verdict" not in ases.words


def test_the_first_change_beyond_a_threshold_is_rounded_half_upwards(staff: StaffCase) -> None:
    """SPADI: more than 18 is first 18.125."""
    row = next(row.words for row in page_of(staff, "/instruments/spadi@1").all("tr") if "18.13" in row.words)
    assert "18 the first change that exceeds it is 18.13" in row


def test_the_words_that_this_clinic_asks_in_stand_on_the_page(staff: StaffCase) -> None:
    def words_of(spec: str) -> str:
        return " ".join(page_of(staff, f"/instruments/{spec}").words.split())

    assert "Words here English: descriptive text; Spanish: descriptive text" in words_of("sst@1")
    assert "Words here English: no text; Spanish: no text" in words_of("oss@1")
    assert "Words here" not in words_of("woos@1")
    go_live(staff.case)
    undecided = "descriptive text, not decided on, so not sent"
    assert f"Words here English: {undecided}; Spanish: {undecided}" in words_of("sst@1")


def test_an_instrument_whose_owners_text_is_installed_can_be_sent_here(staff: StaffCase) -> None:
    for code in ("en", "es"):
        assert "cannot be sent before its owner has agreed" in page_of(staff, "/instruments").words
        install(staff.case, "oss@1", code)
    assert "can be sent here: the owner's text is installed" in page_of(staff, "/instruments").words
    page = page_of(staff, "/instruments/oss@1").words
    assert "Words here English: the owner's licensed text; Spanish: the owner's licensed text" in page
