"""The items of STROBE (cohort) and RECORD, in our own words of what each asks, with what the record answers.

The checklists are elsewhere and say more: von Elm and others, doi 10.1371/journal.pmed.0040296; Benchimol and others, doi
10.1371/journal.pmed.1001885. Here stand their item numbers and what the data can fill in; everything else is the authors' to write.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.staff.page import words
from server.staff.series.methods_text import Section
from server.words.phrase import Phrase, phrase

STROBE, RECORD = "STROBE", "RECORD"
AUTHORS = phrase("To be written by the authors.")


@dataclass(frozen=True)
class Item:
    """`sections`: of the methods text, that answer it; `said`: what answers it else. Neither: the authors'."""

    list: str
    number: str
    asks: Phrase
    sections: tuple[str, ...] = ()
    said: Phrase | None = None


@dataclass(frozen=True)
class Filled:
    """`sections`: of the methods text, by name, of which the answer is made."""

    list: str
    number: str
    asks: str
    answer: str
    by_data: bool
    sections: tuple[str, ...]


ITEMS: Sequence[Item] = (
    Item(STROBE, "1a", phrase("The design in the title or the abstract")),
    Item(STROBE, "1b", phrase("An abstract that tells what was done and found")),
    Item(STROBE, "2", phrase("Why the study was done")),
    Item(STROBE, "3", phrase("The aims and any hypothesis set beforehand"), ("declaration",)),
    Item(STROBE, "4", phrase("The design, early in the text"), ("design",)),
    Item(STROBE, "5", phrase("Where, and from when to when"), ("design", "timing")),
    Item(STROBE, "6a", phrase("Who could be in it, where they come from, how they were followed"), ("participants", "timing")),
    Item(STROBE, "6b", phrase("Matching"), said=phrase("Nobody was matched.")),
    Item(STROBE, "7", phrase("Outcomes, exposures and other variables, defined"), ("instruments", "estimands")),
    Item(STROBE, "8", phrase("Where each variable comes from and how it is measured"), ("instruments", "modes")),
    Item(STROBE, "9", phrase("What was done against bias"), ("response",)),
    Item(STROBE, "10", phrase("How the size came about"),
        said=phrase("Every operation that the sentence means, as many as there were; no size was set beforehand.")),
    Item(STROBE, "11", phrase("How quantities were handled"),
        said=phrase("Scores stay as scored; none was cut into groups. Eras are five calendar years.")),
    Item(STROBE, "12a", phrase("The statistical methods"), ("statistics",)),
    Item(STROBE, "12b", phrase("Subgroups and interactions"),
        said=phrase("Groups stand side by side by one word of the sentence, at most four; no interaction is tested.")),
    Item(STROBE, "12c", phrase("Missing data"), ("response", "statistics")),
    Item(STROBE, "12d", phrase("Loss to follow-up"), ("estimands", "response")),
    Item(STROBE, "12e", phrase("Sensitivity analyses"),
        said=phrase("Under implant survival: confirmed events, first shoulders, watched to the end, both ends of days not known exactly.")),
    Item(STROBE, "13a", phrase("How many there were at each stage"), ("participants",)),
    Item(STROBE, "13b", phrase("Why some were lost at each stage"), ("participants",)),
    Item(STROBE, "13c", phrase("A flow diagram"), said=phrase("The figure “From the log to the answers” of the page.")),
    Item(STROBE, "14a", phrase("Who the participants are")),
    Item(STROBE, "14b", phrase("How much is missing of each variable"),
        said=phrase("not_recorded and not_applicable in operations.csv of the exported files name the empty fields of each row.")),
    Item(STROBE, "14c", phrase("How long they were followed"),
        said=phrase("The median and the numbers past 2, 5 and 10 years: under implant survival.")),
    Item(STROBE, "15", phrase("How many events or what measures over time"), ("estimands",)),
    Item(STROBE, "16a", phrase("Estimates with and without adjustment, and their precision"),
        said=phrase("The tables behind the figures, each with its limits; adjusted for what is stated under groups.")),
    Item(STROBE, "16b", phrase("Where categories of a quantity were cut"), said=phrase("No quantity was cut into categories.")),
    Item(STROBE, "16c", phrase("Absolute risks"), said=phrase("All risks are absolute, at a stated year.")),
    Item(STROBE, "17", phrase("Other analyses"), ("statistics",)),
    Item(STROBE, "18", phrase("The main results against the aims")),
    Item(STROBE, "19", phrase("Limits of the study, and which way a bias would go")),
    Item(STROBE, "20", phrase("A cautious interpretation")),
    Item(STROBE, "21", phrase("Whom the results may be true of")),
    Item(STROBE, "22", phrase("Money, and the part of those who gave it"), ("declaration",)),
    Item(RECORD, "1.1", phrase("The kind of data and the databases, by name"), ("design",)),
    Item(RECORD, "1.2", phrase("The region and the time, in the title or abstract")),
    Item(RECORD, "1.3", phrase("A linkage of databases, said early"), said=phrase("No databases were linked by the program.")),
    Item(RECORD, "6.1", phrase("The codes by which people were selected"), ("participants",)),
    Item(RECORD, "6.2", phrase("Whether those codes were validated")),
    Item(RECORD, "6.3", phrase("The flow of a linkage"), said=phrase("No databases were linked by the program.")),
    Item(RECORD, "7.1", phrase("The full lists of codes"), said=phrase("The codebook of the exported files.")),
    Item(RECORD, "12.1", phrase("How far the researchers could get at the database")),
    Item(RECORD, "12.2", phrase("How the data were cleaned"),
        said=phrase("Values are checked as they are entered; every correction is kept with its reason and the value before.")),
    Item(RECORD, "12.3", phrase("Linkage at the level of persons"), said=phrase("No databases were linked by the program.")),
    Item(RECORD, "13.1", phrase("How people were selected, with filters for quality and availability"), ("participants",)),
    Item(RECORD, "19.1", phrase("What follows from data that were not collected for this question")),
    Item(RECORD, "22.1", phrase("Where protocol, raw data and code can be had"), ("software",)),
)  # fmt: skip


def filled_items(sections: Sequence[Section]) -> list[Filled]:
    """Each item with its answer from the sections, or whose it is to write."""
    texts: Mapping[str, str] = {section.name: section.text for section in sections}
    return [
        Filled(
            item.list,
            item.number,
            words.say(item.asks),
            _answer(item, texts),
            bool(item.sections or item.said),
            item.sections,
        )
        for item in ITEMS
    ]


def _answer(item: Item, texts: Mapping[str, str]) -> str:
    if item.sections:
        return " ".join(texts[name] for name in item.sections)
    return words.say(item.said or AUTHORS)
