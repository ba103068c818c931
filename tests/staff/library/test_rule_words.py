"""How a rule reads: every rule that the library holds, and items that stand together."""

from scoring.library import load_library
from server.staff.page.rule_text import items_in_words, rule_sentences


def test_every_rule_of_the_library_has_words() -> None:
    scales = [(each, scale) for each in load_library().definitions.values() for scale in each.scales]
    assert len(scales) > 20
    for each, scale in scales:
        sentences = rule_sentences(each, scale)
        assert all(sentence.endswith(".") for sentence in sentences), (each.spec, scale.scale)
        assert len(sentences) > len(scale.rule.then), (each.spec, scale.scale)


def test_neighbouring_items_are_named_together() -> None:
    sst = load_library().instrument("sst@1")
    names = ("1", "2", "4", "5", "6", "9")
    assert items_in_words(sst, names) == "1, 2, 4 to 6 and 9"
    assert items_in_words(sst, ()) == "none"
