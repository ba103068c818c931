"""`python -m tests.benchmarks [NAME …]`: every module beside this one that has `measure() -> list[Row]`, in one table."""

import importlib
import pkgutil
import sys
import time
from collections.abc import Callable, Iterator

import tests.benchmarks
from tests.benchmarks.table import Row, table

SUITE = {"__main__", "table"}


def benchmarks() -> Iterator[tuple[str, Callable[[], list[Row]]]]:
    """Name and `measure` of each benchmark, by name."""
    for found in sorted(pkgutil.iter_modules(tests.benchmarks.__path__), key=lambda module: module.name):
        if found.name in SUITE:
            continue
        measure = getattr(importlib.import_module(f"tests.benchmarks.{found.name}"), "measure", None)
        if measure is not None:
            yield found.name, measure


def main(wanted: list[str]) -> int:
    """0 when every bound is kept, 1 when one is not, 2 for a name that is none of the benchmarks."""
    found = dict(benchmarks())
    unknown = [name for name in wanted if name not in found]
    if unknown:
        print(f"no benchmark is called {', '.join(unknown)}; there are {', '.join(found)}", file=sys.stderr)
        return 2
    rows: list[Row] = []
    for name in wanted or found:
        print(f"  {name} ", end="", flush=True)
        began = time.monotonic()
        rows += found[name]()
        print(f"{time.monotonic() - began:.0f} s", flush=True)
    print(f"\n{table(rows)}")
    return 1 if any(row.ok is False for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
