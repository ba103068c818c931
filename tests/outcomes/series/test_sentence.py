"""The sentence is the filter: its address is read back as it was written, and nothing in it is left out in silence."""

from server.outcomes.series.sentence import WORDS, Sentence, Span, sentence_in


def test_an_empty_address_means_everybody() -> None:
    sentence, unread = sentence_in({})
    assert (sentence, unread, sentence.address()) == (Sentence(), [], {})
    assert not any(sentence.says(word) for word in WORDS)


def test_a_sentence_is_read_back_from_its_address() -> None:
    said = Sentence(
        procedure=("resurfacing", "reverse"), model=("Mark & Co 2",), cuff=("intact",), years=Span(2008, 2025), age=Span(None, 70),
        first_shoulder=True, mode=("telephone",), text=("descriptive",),
    )  # fmt: skip
    assert sentence_in(said.address()) == (said, [])
    assert said.address()["years_from"] == ["2008"] and "age_from" not in said.address()


def test_the_order_and_a_repetition_of_choices_make_no_other_sentence() -> None:
    one, _unread = sentence_in({"side": ["right", "left", "right", " ", ""]})
    assert one == Sentence(side=("left", "right"))


def test_a_word_the_record_does_not_have_stays_in_the_sentence() -> None:
    sentence, unread = sentence_in({"diagnosis": ["no_such_thing"]})
    assert sentence.chosen("diagnosis") == ("no_such_thing",) and unread == []


def test_what_is_no_year_is_told_and_not_guessed() -> None:
    sentence, unread = sentence_in(
        {"years_from": ["soon"], "years_to": ["2020"], "age_to": ["-3"], "age_from": ["99999999999"]}
    )
    assert sentence == Sentence(years=Span(None, 2020))
    assert sorted(unread) == ["-3", "99999999999", "soon"]


def test_years_the_wrong_way_round_are_told() -> None:
    assert sentence_in({"years_from": ["2020"], "years_to": ["2010"]}) == (Sentence(), ["2020–2010"])


def test_a_word_is_opened_without_the_others_losing_what_they_say() -> None:
    said = Sentence(side=("left",), years=Span(2010, None), first_shoulder=True)
    assert said.without("side") == Sentence(years=Span(2010, None), first_shoulder=True)
    assert said.without("years") == Sentence(side=("left",), first_shoulder=True)
    assert said.without("first_shoulder") == Sentence(side=("left",), years=Span(2010, None))


def test_a_span_holds_both_of_its_ends() -> None:
    assert [Span(2010, 2012).holds(year) for year in (2009, 2010, 2012, 2013)] == [False, True, True, False]
    assert Span().holds(1900) and Span().is_open and not Span(None, 70).is_open
