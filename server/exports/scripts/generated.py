"""read.sps and read.do: syntax for SPSS and Stata, which cannot read a codebook by themselves."""

from collections.abc import Iterator, Mapping, Sequence

from server.exports.column import Column

LONGEST_TEXT = 1000  # bytes that SPSS keeps of a text
INSTANT_BYTES = 24
_SPSS_HEAD = """* Reads the files beside it into SPSS, with labels, and saves each as .sav.
* First go to their folder: CD 'the folder of the files'.
* What is missing is system-missing or blank; a column beside it says why.
* A text that begins with an apostrophe before = + - or @ was recorded without it.
SET DECIMAL=DOT.
"""
_STATA_HEAD = """* Reads the files beside it into Stata 14 or newer, with labels, and saves each as .dta.
* This script was not run by those who made it: no Stata was at hand. Look at what it makes before you use it.
* First go to their folder: cd "the folder of the files"
* What is missing is . or empty; a column beside it says why. Words become numbers with value labels.
* A text that begins with an apostrophe before = + - or @ was recorded without it.
version 14
set more off
"""


def labels_of(column: Column) -> dict[str, str]:
    """What the codes of a column mean, by code; nothing of a text that holds several of them."""
    if column.type not in ("word", "integer"):
        return {}
    pairs = (each.partition(" = ") for each in column.codes)
    return {code: meaning or code.replace("_", " ") for code, _is, meaning in pairs}


def spss(tables: Mapping[str, Sequence[Column]]) -> str:
    """SPSS syntax; PSPP runs it too."""
    return _SPSS_HEAD + "".join(line for file, columns in tables.items() for line in _spss_table(file, columns))


def _spss_table(file: str, columns: Sequence[Column]) -> Iterator[str]:
    yield f"\nGET DATA /TYPE=TXT /FILE={_single(file)} /ENCODING='UTF8' /ARRANGEMENT=DELIMITED\n"
    yield "  /DELIMITERS=',' /QUALIFIER='\"' /FIRSTCASE=2 /VARIABLES=\n"
    yield "\n".join(f"  {column.name} {_spss_format(column)}" for column in columns) + ".\n"
    yield "VARIABLE LABELS\n"
    yield "\n".join(f"  {column.name} {_single(column.label)}" for column in columns) + ".\n"
    numbers = [column.name for column in columns if column.type == "number"]
    if numbers:
        yield "FORMATS\n" + "\n".join(f"  {name} (F12.4)" for name in numbers) + ".\n"
    labelled = [column for column in columns if labels_of(column)]
    for column in labelled:
        code = _single if column.type == "word" else str
        said = "\n".join(f"  {code(each)} {_single(meaning)}" for each, meaning in labels_of(column).items())
        yield f"VALUE LABELS {column.name}\n{said}.\n"
    yield f"SAVE OUTFILE={_single(file.replace('.csv', '.sav'))}.\n"


def _spss_format(column: Column) -> str:
    if column.type == "word":
        return f"A{max((len(code.encode()) for code in labels_of(column)), default=1)}"
    return {
        "integer": "F8.0",
        "number": "F16.0",
        "date": "SDATE10",
        "instant": f"A{INSTANT_BYTES}",
        "text": f"A{LONGEST_TEXT}",
    }[column.type]


def _single(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def stata(tables: Mapping[str, Sequence[Column]]) -> str:
    """A do-file. A set of codes that several columns share is defined once for a file."""
    return _STATA_HEAD + "".join(line for file, columns in tables.items() for line in _stata_table(file, columns))


def _stata_table(file: str, columns: Sequence[Column]) -> Iterator[str]:
    yield f'\nimport delimited {_double(file)}, delimiters(",") varnames(1) bindquotes(strict) stringcols(_all) encoding("UTF-8") clear\n'
    sets: dict[tuple[str, ...], str] = {}
    for column in columns:
        if labels_of(column) and column.codes not in sets:
            sets[column.codes] = f"codes{len(sets) + 1}"
            yield _stata_codes(sets[column.codes], column)
        yield from _stata_column(column, sets.get(column.codes))
        yield f"label variable {column.name} {_double(column.label)}\n"
    for codes, name in sets.items():
        yield _stata_meanings(name, next(column for column in columns if column.codes == codes))
    yield f"save {_double(file.replace('.csv', '.dta'))}, replace\n"


def _stata_codes(name: str, column: Column) -> str:
    if column.type == "word":  # encode looks a word up by its label
        pairs = [(str(number), code) for number, code in enumerate(labels_of(column), 1)]
    else:
        pairs = list(labels_of(column).items())
    return f"label define {name} " + " ".join(f"{number} {_double(label)}" for number, label in pairs) + "\n"


def _stata_meanings(name: str, column: Column) -> str:
    """Once every word has become a number, its label is what it means."""
    if column.type != "word":
        return ""
    said = enumerate(labels_of(column).values(), 1)
    return f"label define {name} " + " ".join(f"{number} {_double(label)}" for number, label in said) + ", modify\n"


def _stata_column(column: Column, codes: str | None) -> Iterator[str]:
    name = column.name
    if column.type in ("integer", "number"):
        yield f"destring {name}, replace\n"
        if codes:
            yield f"label values {name} {codes}\n"
    elif column.type == "date":
        yield f'generate double y__ = date({name}, "YMD")\nformat y__ %td\n{_replace(name)}'
    elif column.type == "word" and codes:
        yield f"encode {name}, generate(y__) label({codes}) noextend\n{_replace(name)}"


def _replace(name: str) -> str:
    return f"order y__, before({name})\ndrop {name}\nrename y__ {name}\n"


def _double(text: str) -> str:
    return '`"' + text + "\"'"
