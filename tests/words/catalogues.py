"""Brings the catalogues up to date with code, templates and field tables: python -m tests.words.catalogues

Sentences and words that are gone leave the files, new ones come in without a translation. Nothing is guessed from a similar sentence.
"""

from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_file
from babel.messages.pofile import read_po, write_po

from server.words.catalogue import CATALOGUES, Domain
from tests.structure.tree import ROOT, project_files
from tests.words.field_terms import field_terms

# The places of the texts in the calls that mark a sentence; "c" is the context.
KEYWORDS = {
    **DEFAULT_KEYWORDS,
    "phrase": (1,),
    "phrase_in": ((1, "c"), 2),
    "counted_phrase": (1, 2),
    "plural": (1, 2),
}
# What patients read is a domain of its own, since it must be complete in every language.
FOR_PATIENTS = (
    "server/reminders/channels/",
    "server/staff/patient/take_home_",
    "server/staff/templates/staff/patient/letter_text.html",
)
NOT_TRANSLATED = ("server/cli/", "server/demo/", "server/exports/", "server/migrations/")


def sources(domain: Domain) -> list[Path]:
    ours = [path for path in project_files() if path.parts[0] == "server" and path.suffix in {".py", ".html", ".txt"}]
    found = [path for path in ours if path.as_posix().startswith(FOR_PATIENTS) == (domain == "patient")]
    return [path for path in found if not path.as_posix().startswith(NOT_TRANSLATED)]


def extracted(domain: Domain) -> Catalog:
    """The sentences as they stand in code and templates, each with the files it comes from."""
    catalogue = Catalog(project="Yearmark")
    for path in sources(domain):
        method = "python" if path.suffix == ".py" else "jinja2.ext.babel_extract"
        options = {} if path.suffix == ".py" else {"trimmed": "true", "newstyle_gettext": "true", "silent": "false"}
        for _line, text, comments, context in extract_from_file(
            method, ROOT / path, keywords=KEYWORDS, comment_tags=("For translators:",), options=options
        ):
            catalogue.add(text, locations=[(path.as_posix(), 0)], auto_comments=comments, context=context)
    if domain == "staff":
        for path, term in field_terms():
            catalogue.add(str(term), locations=[(path.as_posix(), 0)], context=term.about)
    return catalogue


def catalogue_files(domain: Domain) -> list[Path]:
    return sorted(CATALOGUES.glob(f"*/LC_MESSAGES/{domain}.po"))


def read(path: Path) -> Catalog:
    with path.open("rb") as file:
        return read_po(file, locale=path.parent.parent.name)


def brought_up_to_date(path: Path, template: Catalog) -> bytes:
    catalogue = read(path)
    catalogue.update(template, no_fuzzy_matching=True, update_creation_date=False)
    written = BytesIO()
    write_po(written, catalogue, width=110, ignore_obsolete=True, include_lineno=False, sort_by_file=True)
    return written.getvalue()


def translated(catalogue: Catalog) -> int:
    return sum(
        all([each.string] if isinstance(each.string, str) else each.string or [""]) for each in catalogue if each.id
    )


def main() -> None:
    domains: tuple[Domain, ...] = ("patient", "staff")
    for domain in domains:
        template = extracted(domain)
        for path in catalogue_files(domain):
            path.write_bytes(brought_up_to_date(path, template))
            catalogue = read(path)
            print(f"{path.relative_to(ROOT)}: {len(catalogue)} sentences, {translated(catalogue)} translated")


if __name__ == "__main__":
    main()
