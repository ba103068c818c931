"""A word of the field tables is said in the reader's language, wherever it is shown; files and the command line keep the English."""

from jinja2 import Environment

from server.exports.column import codes_of
from server.fields.field import Field, Kind, named
from server.fields.operation import OPERATION
from server.fields.operation_words import DIAGNOSES, IMPLANT_TYPES
from server.words.catalogue import languages
from server.words.language import Words
from server.words.phrase import phrase
from server.words.templates import add_translation
from server.words.term import Term
from tests.words.field_terms import field_terms, terms_in

# What Spanish writes in the same letters: vertebrae, grades, names of persons and of germs, and a few words.
SAME_IN_SPANISH = frozenset(
    {
        *(f"L{number}" for number in range(1, 6)),
        *(f"T{number}" for number in range(4, 13)),
        *("1", "2", "3", "4", "5", "a1", "a2", "b1", "b2", "b3", "c", "c1", "c2", "d", "kg/m²"),
        *("Franklin", "Lazarus", "Molé", "Cutibacterium", "Staphylococcus aureus"),
        *("no", "newtons", "probable", "Material", "Necrosis"),
    }
)
SPANISH = Words("staff", "es")


def test_every_word_of_the_tables_is_another_in_spanish_but_for_a_short_list() -> None:
    found = {term for _path, term in field_terms()}
    assert "es" in languages("staff") and len(found) > 500
    assert sorted({str(term) for term in found if SPANISH.say(term) == term} - SAME_IN_SPANISH) == []
    assert sorted(SAME_IN_SPANISH - {str(term) for term in found if SPANISH.say(term) == term}) == []


def test_the_trade_s_own_terms_are_used() -> None:
    """The words that the trade writes in Spanish, as the clinic asked for them."""
    assert SPANISH.say(DIAGNOSES["osteonecrosis"]) == "necrosis avascular"
    assert SPANISH.say(DIAGNOSES["osteoarthritis"]) == "artrosis"
    assert SPANISH.say(IMPLANT_TYPES["reverse"]) == "prótesis inversa"
    assert SPANISH.say(IMPLANT_TYPES["stemless_hemi"]) == "hemiartroplastia sin vástago"


def test_a_row_says_its_label_unit_hint_and_words() -> None:
    row = Field("x", "Fixation", Kind.CHOICE, words={"unknown": "unknown"}, unit="degrees", hint="No name.", stays="x")
    assert [SPANISH.say(each) for each in terms_in(row)] == ["Fijación", "grados", "Sin nombres.", "no se sabe"]


def test_a_word_inside_a_sentence_is_said_in_the_language_of_the_sentence() -> None:
    assert SPANISH.say(phrase("lot %(lot)s", lot=Term("unknown"))) == "lote no se sabe"


def test_a_template_says_it_alone_in_a_loop_and_inside_a_sentence() -> None:
    environment = Environment(autoescape=True)
    add_translation(environment)
    template = environment.from_string(
        "{{ word }}, {% for each in words_of %}{{ each }}{% endfor %}, {% trans lot=word %}lot {{ lot }}{% endtrans %}"
    )
    assert template.render(words=SPANISH, word=Term("unknown"), words_of=[Term("degrees")]) == (
        "no se sabe, grados, lote no se sabe"
    )


def test_codes_and_english_words_of_the_files_stay() -> None:
    codes = codes_of(named(OPERATION, "diagnosis"))
    assert "massive_cuff_tear = massive irreparable cuff tear without arthritis" in codes and "osteoarthritis" in codes
