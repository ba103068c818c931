"""The page after an enrolment, in a browser: nothing touches the picture that is to be scanned."""

import pytest

from tests.journeys.chromium import DESK, PHONE, Chromium
from tests.journeys.site import Site
from tests.journeys.staff import sign_in

pytestmark = pytest.mark.xdist_group("chromium")
QUIET = 12


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_line_below_keeps_away_from_the_picture_to_scan(
    site: Site, shared_chromium: Chromium, size: dict[str, int]
) -> None:
    patient_id = site.enrol(operated_days_ago=42)
    page = sign_in(shared_chromium.browser, site, "nurse")
    page.set_viewport_size({"width": size["width"], "height": size["height"]})
    page.goto(f"{site.address}/patients/{patient_id}/enrolled")
    box, below = page.locator(".link-box").bounding_box(), page.locator(".link-box + p a").bounding_box()
    assert box is not None and below is not None
    assert below["y"] - (box["y"] + box["height"]) >= QUIET
