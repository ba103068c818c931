"""Language tags as texts use them (BCP 47: language, perhaps script and region), and the direction in which they are read."""

# ISO 639-1, without the two-letter codes that were withdrawn.
_CODES = """
    aa ab ae af ak am an ar as av ay az ba be bg bi bm bn bo br bs ca ce ch co cr cs cu cv cy da de dv dz ee el en eo es et eu
    fa ff fi fj fo fr fy ga gd gl gn gu gv ha he hi ho hr ht hu hy hz ia id ie ig ii ik io is it iu ja jv ka kg ki kj kk kl km
    kn ko kr ks ku kv kw ky la lb lg li ln lo lt lu lv mg mh mi mk ml mn mr ms mt my na nb nd ne ng nl nn no nr nv ny oc oj om
    or os pa pi pl ps pt qu rm rn ro ru rw sa sc sd se sg si sk sl sm sn so sq sr ss st su sv sw ta te tg th ti tk tl tn to tr
    ts tt tw ty ug uk ur uz ve vi vo wa wo xh yi yo za zh zu
"""
TWO_LETTERS = frozenset(_CODES.split())
LONGEST = 10
FROM_RIGHT = frozenset({"ar", "ckb", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi"})
SCRIPTS_FROM_RIGHT = frozenset({"adlm", "arab", "hebr", "nkoo", "rohg", "syrc", "thaa"})
SCRIPT_LETTERS = 4


def language_problem(tag: str) -> str | None:
    """What is wrong with a tag of the right form; None when a text may carry it."""
    if len(tag) > LONGEST:
        return f"is longer than {LONGEST} characters"
    first = tag.split("-")[0]
    if len(first) == len("en") and first not in TWO_LETTERS:
        return f"{first} is no code of ISO 639-1; write for example en, es, de, ar, he, fa or ur"
    return None


def direction_of(tag: str) -> str:
    """`rtl` or `ltr`, as the attribute `dir` of a page has it. A script in the tag decides before the language does."""
    first, *rest = tag.casefold().split("-")
    script = next((part for part in rest if len(part) == SCRIPT_LETTERS and part.isalpha()), None)
    from_right = script in SCRIPTS_FROM_RIGHT if script else first in FROM_RIGHT
    return "rtl" if from_right else "ltr"
