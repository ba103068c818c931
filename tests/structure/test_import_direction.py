"""Imports run one way: what stands later may import what stands earlier, never the other way round."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.structure.tree import Import, imports, module_name, parsed, python_files

ORDER = (
    ("instruments",),
    ("scoring",),
    ("server.crypto", "server.schedule", "server.outcomes.arithmetic", "server.outcomes.figures", "server.config"),
    ("server.words",),  # the floors that the areas share, each by what it holds
    ("server.fields",),
    ("server.forms",),
    ("server.store",),
    ("server.models", "server.migrations"),
    ("server.queries",),
    (
        "server.links", "server.intake", "server.timepoints", "server.clinic", "server.reminders", "server.worklist",
        "server.outcomes", "server.exports", "server.texts", "server.trust",
    ),
    ("server.installation",),  # one data folder: its runtime, its first set-up, whether it is ready
    ("server.jobs",),
    ("server.sync", "server.staff"),
    ("server.demo",),  # shows the staff pages and the phone at work
    ("server.app",),
    ("server.cli",),  # also starts the app
)  # fmt: skip
AREAS = next(group for group in ORDER if "server.intake" in group)
PURE_PARTS = next(group for group in ORDER if "server.crypto" in group)
# Floors on which one part may use another: tables and their migrations, and what is pure.
SIDE_BY_SIDE = (*PURE_PARTS, "server.models", "server.migrations")
EVERY_AREA_MAY_IMPORT = ("server.timepoints", "server.trust.audit")
PURE = (
    "scoring",
    "server.crypto",
    "server.schedule",
    "server.outcomes.arithmetic",
    "server.outcomes.figures",
    *(
        f"server.outcomes.series.{module}"
        for module in (
            "sentence",
            "row",
            "flow",
            "followed",
            "strip",
            "course",
            "endpoints",
            "watch",
            "survival",
            "deaths",
            "preference",
        )
    ),
    "server.forms",
)
# What reaches for a clock, a file, a network or a database has no place in a pure part.
NOT_PURE = {"time", "os", "sqlite3", "socket", "subprocess", "urllib", "http", "smtplib", "random", "threading"}
PURE_MAY_INSTALL = {"cryptography", "numpy", "statsmodels", "typst"}
CLOCKS = {"now", "utcnow", "today"}

# What talks to phones: no private key, no readable due sheet, no token, no name. None stands for every name.
SYNC_MAY_IMPORT: dict[str, set[str] | None] = {
    "server.config": None,
    "scoring.strict_json": None,
    "server.crypto.derive": {"equal_in_constant_time", "stored_digest"},
    "server.crypto.encoding": None,
    "server.crypto.envelope": {"Envelope", "EnvelopeProblem", "Header", "LONGEST", "parse_envelope"},
    "server.fields.by_language": None,
    "server.models": {"Clinic", "Envelope", "Gate", "GateFetch", "GateProof", "GateTries"},
    "server.store.bulk": {"insert_rows"},
    "server.queries.clock": None,
    "server.queries.restored": {"last_restored_at"},
    "server.store.engine": {"Store"},
    "server.sync": None,
}
SYNC_MAY_INSTALL = {"flask", "flask_smorest", "marshmallow", "sqlalchemy", "webargs", "werkzeug"}


def part_of(module: str) -> str | None:
    """The part of ORDER that a module belongs to: the longest that fits."""
    parts = [part for group in ORDER for part in group if module == part or module.startswith(f"{part}.")]
    return max(parts, key=len, default=None)


def place_of(part: str) -> int:
    return next(place for place, group in enumerate(ORDER) if part in group)


def within(module: str, parts: tuple[str, ...]) -> bool:
    return any(module == part or module.startswith(f"{part}.") for part in parts)


def is_ours(module: str) -> bool:
    return module.split(".")[0] in {"server", "scoring", "instruments", "tests"}


def our_imports() -> Iterator[Import]:
    for path in python_files("server", "scoring", "instruments"):
        yield from (found for found in imports(path) if is_ours(found.module))


def allowed(found: Import) -> bool:
    importer, imported = part_of(found.importer), part_of(found.module)
    if importer is None or imported is None:
        return importer is None or found.module == "server"
    if importer == imported or place_of(imported) < place_of(importer):
        return True
    same_group = place_of(importer) == place_of(imported)
    if importer in AREAS:
        return same_group and within(found.module, EVERY_AREA_MAY_IMPORT)
    return same_group and importer in SIDE_BY_SIDE


def test_every_module_has_a_place_in_the_order() -> None:
    modules = {module_name(path) for path in python_files("server", "scoring", "instruments")} - {"server"}
    assert {module for module in modules if part_of(module) is None} == set()


def test_imports_run_one_way() -> None:
    assert [str(found) for found in our_imports() if not allowed(found)] == []


def test_the_check_of_the_order_sees_what_it_forbids() -> None:
    def imported(importer: str, module: str) -> bool:
        return allowed(Import(importer, module, "", 1))

    assert imported("server.intake.doors", "server.timepoints.transitions")
    assert imported("server.intake.doors", "server.trust.audit")
    assert imported("server.exports.csv", "server.outcomes.arithmetic")
    assert not imported("server.intake.doors", "server.trust.keys")
    assert not imported("server.intake.doors", "server.exports.csv")
    assert not imported("server.schedule.plan", "server.store.engine")
    assert not imported("scoring.rules", "server.config")
    assert not imported("server.staff.today.today", "server.demo.seed")
    assert not imported("server.store.base", "tests.databases")


def room_of(module: str) -> str | None:
    """`patient` for server.staff.patient.summary; None for what stands in no room of the staff pages."""
    parts = module.split(".")
    return parts[2] if parts[:2] == ["server", "staff"] and len(parts) > 3 else None


def test_a_room_of_the_staff_pages_uses_no_other_room_but_what_every_page_needs() -> None:
    crossing = [
        str(found)
        for found in our_imports()
        if room_of(found.importer) is not None and room_of(found.module) not in (None, "page", room_of(found.importer))
    ]
    assert crossing == []
    assert {room_of(module_name(path)) for path in python_files("server")} >= {"page", "patient", "today", "library"}


def test_scoring_needs_the_standard_library_alone() -> None:
    foreign = [
        str(found)
        for path in python_files("scoring")
        for found in imports(path)
        if found.module.split(".")[0] not in sys.stdlib_module_names | {"scoring", "instruments"}
    ]
    assert foreign == []


def pure_files() -> list[Path]:
    return [path for path in python_files("server", "scoring") if within(module_name(path), PURE)]


def test_pure_parts_import_no_clock_no_database_and_no_network() -> None:
    allowed_outside = (sys.stdlib_module_names - NOT_PURE) | PURE_MAY_INSTALL | {"server", "scoring", "instruments"}
    found = [found for path in pure_files() for found in imports(path)]
    assert [str(one) for one in found if one.module.split(".")[0] not in allowed_outside] == []


def test_pure_parts_ask_for_no_time_and_change_no_global() -> None:
    found = []
    for path in pure_files():
        for node in ast.walk(parsed(path)):
            asks = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in CLOCKS
            if asks or isinstance(node, ast.Global):
                found.append(f"{path}:{getattr(node, 'lineno', 0)}")
    assert found == []


def sync_may(found: Import) -> bool:
    root = found.module.split(".")[0]
    if not is_ours(found.module):
        return root in sys.stdlib_module_names | SYNC_MAY_INSTALL
    part = max((name for name in SYNC_MAY_IMPORT if within(found.module, (name,))), key=len, default="")
    names = SYNC_MAY_IMPORT.get(part, set())
    return names is None or found.name in names


def test_what_talks_to_phones_imports_no_private_key_no_readable_due_sheet_and_no_intake() -> None:
    found = [found for path in python_files("server") for found in imports(path) if path.parts[1] == "sync"]
    assert found, "server/sync holds no module"
    assert [str(one) for one in found if not sync_may(one)] == []


def test_the_check_of_what_talks_to_phones_sees_what_it_forbids() -> None:
    def may(module: str, name: str) -> bool:
        return sync_may(Import("server.sync.api", module, name, 1))

    assert may("server.crypto.envelope", "parse_envelope")
    assert not may("server.crypto.envelope", "open_envelope")
    assert not may("server.crypto.envelope", "envelope")
    assert not may("server.crypto.sheet", "open_sheet")
    assert not may("server.models.link", "Link")
    assert not may("server.trust.keys", "KeyFolder")
    assert not may("server.installation.runtime", "Runtime")
    assert not may("cryptography.hazmat.primitives.hpke", "Suite")
