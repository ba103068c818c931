"""No sentence that staff or patients read stands outside the catalogues, but for the files listed on top, each with its reason."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.structure.tree import ROOT, parsed, project_files, text_of

FOLDERS = ("server/staff/", "server/reminders/", "server/worklist/", "server/links/", "server/sync/")
LONGEST_TEMPLATE_LINE = 160
LISTED: dict[str, str] = {
    "server/reminders/channels/email/channel.py": "what is wrong with a setting, for who starts the server",
    "server/reminders/channels/email/mailbox.py": "why a mail did not leave, for the log",
    "server/reminders/failures.py": "kind and place of a failure, for the log",
    "server/reminders/ladders.py": "why a ladder is not used; the command line says the same",
    "server/reminders/ladder_install.py": "why a file is refused; the command line says the same",
    "server/staff/audit/file_sections.py": "what the file for machines leaves out, beside its keys",
    "server/staff/audit/patient_file.py": "what the keys of the file for machines mean",
    "server/staff/page/headers.py": "a policy for browsers",
    "server/sync/api.py": "the description of the interface, for programmers",
    "server/sync/pages.py": "a policy for browsers, and what a developer reads who built no phone app",
    "server/sync/schemas.py": "the description of the interface, for programmers",
}

MARKS = {"gettext", "ngettext", "pgettext", "npgettext", "phrase", "phrase_in", "counted_phrase", "plural"}
# Read by who runs the server: what an exception says, the log, the command line.
FOR_DEVELOPERS = {"debug", "info", "warning", "error", "exception", "text", "abort"}
THREE_WORDS = re.compile(r"[A-Za-z’']{2,}[,;:]? [A-Za-z’']+[,;:]? [A-Za-z’']{2,}")
WORD = re.compile(r"[A-Za-z]{2,}")
NOT_SHOWN = re.compile(
    r"{#.*?#}|{%-?\s*trans\b.*?endtrans\s*-?%}|<(?:script|style|code)\b.*?</(?:script|style|code)>|<!doctype html>",
    re.DOTALL,
)
SHOWN_ATTRIBUTE = re.compile(r"""\b(?:aria-label|title|placeholder|alt|data-word)="([^"]*)\"""")
# An entity, an attribute that a macro writes, names.
NO_WORDS = re.compile(r"""&\w+;|[\w-]+="[^"]*"|Yearmark|SHA-256""")
EXPRESSION = re.compile(r"{{.*?}}|{%.*?%}", re.DOTALL)
MARKED_IN_TEMPLATE = re.compile(r"""\b(?:_|n?gettext|n?pgettext|plural)\((?:[^()"']|"[^"]*"|'[^']*')*""")
LITERAL = re.compile(r"""\"([^"]*)"|'([^']*)'""")


def python_sentences(tree: ast.AST) -> Iterator[str]:
    """Literals of three words and more that are no docstring, stand in no mark and are not meant for developers."""
    if isinstance(tree, ast.Raise) or (isinstance(tree, ast.Expr) and isinstance(tree.value, ast.Constant)):
        return
    if isinstance(tree, ast.Call):
        name = tree.func.attr if isinstance(tree.func, ast.Attribute) else getattr(tree.func, "id", "")
        if name in MARKS | FOR_DEVELOPERS or name.endswith(("Problem", "Exception")):
            values = [keyword.value for keyword in tree.keywords]
            yield from (found for value in values for found in python_sentences(value))
            return
    if isinstance(tree, ast.JoinedStr):
        whole = "".join(str(part.value) if isinstance(part, ast.Constant) else "x" for part in tree.values)
        if THREE_WORDS.search(whole):
            yield whole
        return
    if isinstance(tree, ast.Constant) and isinstance(tree.value, str) and THREE_WORDS.search(tree.value):
        yield tree.value
    for child in ast.iter_child_nodes(tree):
        yield from python_sentences(child)


def template_sentences(template: str) -> Iterator[str]:
    """Words of text and of shown attributes outside `trans`, and literals of several words in expressions outside a mark."""
    text = NOT_SHOWN.sub(" ", template)
    for expression in EXPRESSION.findall(text):
        literals = LITERAL.findall(MARKED_IN_TEMPLATE.sub("", expression))
        yield from (one or other for one, other in literals if re.search(r"[A-Za-z]{2,},? [A-Za-z]{2,}", one or other))
    bare = EXPRESSION.sub("", text)
    yield from (value for value in SHOWN_ATTRIBUTE.findall(bare) if WORD.search(value))
    nodes = re.sub(r"<[^>]*>", "\n", bare).splitlines()
    yield from (node.strip() for node in nodes if WORD.search(NO_WORDS.sub("", node)))


def sentences_of(path: Path) -> list[str]:
    if path.suffix == ".py":
        return list(python_sentences(parsed(path)))
    return list(template_sentences(text_of(path)))


def shown_files() -> list[Path]:
    return [
        path
        for path in project_files()
        if path.as_posix().startswith(FOLDERS) and path.suffix in {".py", ".html", ".txt"}
    ]


def test_every_sentence_is_in_the_catalogues() -> None:
    found = {path.as_posix(): sentences_of(path) for path in shown_files() if path.as_posix() not in LISTED}
    assert len(found) > 40
    assert {path: sentences for path, sentences in found.items() if sentences} == {}


def marks_inside_f_strings(tree: ast.AST) -> list[str]:
    """Marks that the reader of sentences does not see, since to it an f-string is one text."""
    calls = [
        each for whole in ast.walk(tree) if isinstance(whole, ast.JoinedStr) for each in ast.walk(whole)
        if isinstance(each, ast.Call) and each.args and isinstance(each.args[0], ast.Constant)
    ]  # fmt: skip
    named = {
        each: each.func.attr if isinstance(each.func, ast.Attribute) else getattr(each.func, "id", "") for each in calls
    }
    return [ast.unparse(each) for each, name in named.items() if name in MARKS]


def test_no_mark_stands_inside_an_f_string() -> None:
    paths = [path for path in shown_files() if path.suffix == ".py"]
    assert {path.as_posix(): found for path in paths if (found := marks_inside_f_strings(parsed(path)))} == {}
    assert marks_inside_f_strings(ast.parse("""f"{text} {words.gettext('Open now')}, {say(text)}\"""")) == [
        "words.gettext('Open now')"
    ]


def test_every_listed_file_still_holds_one() -> None:
    assert [name for name in LISTED if not (ROOT / name).is_file() or not sentences_of(Path(name))] == []


def test_a_sentence_is_found_in_python() -> None:
    found = python_sentences(
        ast.parse(
            '"""A docstring of words."""\n'
            'shown = "Nothing waits for you"\n'
            'say(f"{name} waits for you", also="two words")\n'
            'gettext("This is in them")\n'
            'raise ValueError("a developer reads this")\n'
        )
    )
    assert list(found) == ["Nothing waits for you", "x waits for you"]


def test_a_sentence_is_found_in_a_template() -> None:
    found = template_sentences(
        '{# not shown #}<p class="lead">Shown {{ name }}</p><img alt="A picture">'
        "{% trans name=x %}Marked {{ name }}{% endtrans %}{{ _('Marked too') }}{{ 'bare words' if x }}<code>--out DIR</code>"
    )
    assert list(found) == ["bare words", "A picture", "Shown"]


def test_no_line_of_a_template_is_too_long() -> None:
    templates = [path for path in project_files() if path.suffix == ".html" and path.parts[0] == "server"]
    assert len(templates) > 30
    long = {
        f"{path}:{number}": len(line)
        for path in templates
        if path.as_posix() not in LISTED
        for number, line in enumerate(text_of(path).splitlines(), 1)
        if len(line) > LONGEST_TEMPLATE_LINE
    }
    assert long == {}


def test_no_template_edits_rendered_html() -> None:
    templates = [path for path in project_files() if path.suffix == ".html" and path.parts[0] == "server"]
    assert [
        str(path) for path in templates if re.search(r"\|\s*safe\b", text_of(path)) and path.as_posix() not in LISTED
    ] == []
