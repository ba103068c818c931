"""A clinic behind TLS whose machine is lost: what was copied comes back, nothing is sent before the release, patients answer on."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright

from server.queries.clock import the_clinic
from tests.browsers import CHROMIUM_FLAGS, chromium_path
from tests.cli.shell import Shell
from tests.journeys.chromium import DESK, PHONE
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, PASSWORD, Site, free_port, make_site
from tests.proxy.caddy import caddy_before, reason_missing
from tests.proxy.nginx import Proxy


@pytest.fixture
def browser(playwright: Playwright) -> Iterator[Browser]:
    made = playwright.chromium.launch(executable_path=chromium_path(), args=list(CHROMIUM_FLAGS))
    yield made
    made.close()


@pytest.fixture
def clinic(tmp_path: Path) -> Iterator[tuple[Site, Proxy]]:
    reason = reason_missing()
    if reason:
        pytest.skip(f"caddy: {reason}")
    data, port = tmp_path / "clinic", free_port()
    data.mkdir()
    site = make_site(data)
    with site.case.store.writing() as session:
        the_clinic(session).base_url = f"https://localhost:{port}"
    site.start()
    (tmp_path / "caddy").mkdir()
    with caddy_before(site.port, tmp_path / "caddy", port) as proxy:
        yield site, proxy
    site.stop()
    site.case.store.engine.dispose()


def opened(browser: Browser, **size: object) -> Page:
    # The certificate is the test's own; apart from that it is what a phone meets.
    return browser.new_context(viewport=size, locale="en-US", ignore_https_errors=True).new_page()  # type: ignore[arg-type]


def answer(browser: Browser, proxy: Proxy, site: Site, patient_id: int) -> None:
    phone = Phone(opened(browser, **PHONE))
    phone.open(site.link(patient_id).replace(site.address, f"https://{proxy.host}"))
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("forms")
    phone.fill_form(WEEK_6)
    phone.send()
    site.wait_for_response(patient_id)
    phone.page.context.close()


def release(browser: Browser, proxy: Proxy) -> str:
    """As a data manager; what the page said before."""
    page = opened(browser, **DESK)
    page.goto(f"https://{proxy.host}/sign-in")
    page.fill("input[name=email]", "data_manager@clinic.example")
    page.fill("input[name=password]", PASSWORD)
    page.click("main form button")
    page.wait_for_selector(".who")
    page.goto(f"https://{proxy.host}/backups")
    said = page.inner_text("main")
    page.check("#waiting-passed")
    page.click("main form[action*=release] button")
    page.wait_for_selector("[data-notice]")
    page.context.close()
    return said


def test_answers_copied_before_the_machine_died_come_back_and_patients_answer_on(
    clinic: tuple[Site, Proxy], browser: Browser, tmp_path: Path
) -> None:
    site, proxy = clinic
    before, after = (site.enrol(operated_days_ago=WEEK_6_DAYS) for _each in range(2))
    answer(browser, proxy, site, before)
    shell = Shell(site.folder)
    for command, place in (("backup", "copies"), ("backup-keys", "keys-apart")):
        assert shell.on_data(command, "--to", str(tmp_path / place)).exit_code == 0
    site.kill()
    site.case.store.engine.dispose()
    shutil.rmtree(site.folder)

    (copy,), (keys,) = ((tmp_path / place).iterdir() for place in ("copies", "keys-apart"))
    restored = shell.on_data("restore", str(copy), "--keys", str(keys))
    assert restored.exit_code == 0, restored.output
    site.start()
    assert site.responses(before) == 1
    assert "Until you release it no message" in release(browser, proxy)
    answer(browser, proxy, site, after)
