"""What a phone shows fits on it in WebKit too, in wide and in narrow fonts."""

import pytest
from selenium.webdriver.webkitgtk.webdriver import WebDriver

from tests.fonts import SANS, SERIF
from tests.journeys.site import BORN, Site
from tests.journeys.webkit import WebKitPhone

pytestmark = [
    pytest.mark.xdist_group("webkit"),
    # Selenium's own class for this browser still calls another of its classes in the old way.
    pytest.mark.filterwarnings("ignore:setting remote_server_addr:DeprecationWarning"),
]

WIDTH_OF_WORDS = """const probe = document.createElement("span");
probe.textContent = "Hamburgefonstiv 0123456789";
probe.style.cssText = `position: absolute; white-space: nowrap; font: 40px ${arguments[0]}`;
document.body.append(probe);
const { width } = probe.getBoundingClientRect();
probe.remove();
return width;"""
# The driver makes no window narrower than 447 pixels.
NARROWEST = "document.documentElement.style.width = '320px'"
WIDTH = "return document.getElementById('app').getBoundingClientRect().width"
TOO_WIDE = "const app = document.getElementById('app'); return app.scrollWidth - app.clientWidth"
TOPS = "return [...document.querySelectorAll('.amount > *')].map(each => each.getBoundingClientRect().top)"


@pytest.fixture(scope="module", params=["wide", "narrow"])
def fonts(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_webkit_draws_in_the_fonts_that_the_tests_bring(site: Site, webkit: WebDriver, fonts: str) -> None:
    webkit.get(f"{site.address}/p/")
    WebKitPhone(webkit).screen("nolink")
    families = ("system-ui", SANS[fonts], "serif", SERIF[fonts], "monospace")
    ui, sans, serif, named_serif, monospace = (webkit.execute_script(WIDTH_OF_WORDS, name) for name in families)
    assert (ui, serif) == (sans, named_serif)
    assert monospace not in (ui, serif), "a name that is not there would be drawn in one font for all"


def test_on_the_narrowest_screen_webkit_has_the_number_and_its_buttons_in_one_row(
    site: Site, webkit: WebDriver
) -> None:
    phone = WebKitPhone(webkit)
    phone.come_in(site.link(site.enrol(language="es")), BORN)
    phone.do("start-form")
    phone.answer_all({"since@2/1": 0, "since@2/2": 1, **{f"since@2/{n}": 0 for n in range(7, 11)}})
    phone.there('main[data-item="since@2/3"]')
    webkit.execute_script(NARROWEST)
    assert webkit.execute_script(WIDTH) == 320
    tops = webkit.execute_script(TOPS)
    assert len(tops) == 3 and len(set(tops)) == 1
    assert webkit.execute_script(TOO_WIDE) == 0
