"""What axe-core finds on a page that a browser shows."""

from functools import cache

import pytest
from playwright.sync_api import Page

from tests.structure.tree import ROOT

AXE = ROOT / "pwa" / "node_modules" / "axe-core" / "axe.min.js"
RUN = """async () => (await axe.run()).violations.map(each =>
  `${each.id}: ${each.help} at ${each.nodes.map(node => node.target.join(' ')).join(', ')}`)"""


@cache
def axe() -> str:
    if not AXE.exists():
        pytest.skip(f"axe-core is not installed: {AXE.relative_to(ROOT)} comes with ./run test")
    return AXE.read_text(encoding="utf-8")


def barriers(page: Page) -> list[str]:
    page.evaluate(axe())
    found: list[str] = page.evaluate(RUN)
    return found
