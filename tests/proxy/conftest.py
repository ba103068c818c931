"""A clinic as one stands on the network: a running server, and a web server with TLS in front of it, each of the recommended ones."""

from collections.abc import Iterator

import pytest

from server.queries.clock import the_clinic
from tests.journeys.site import Site, free_port, make_site
from tests.proxy import caddy, nginx
from tests.proxy.caddy import caddy_before
from tests.proxy.nginx import Proxy, nginx_before

MISSING = {"nginx": nginx.reason_missing, "caddy": caddy.reason_missing}
BEFORE = {"nginx": nginx_before, "caddy": caddy_before}


@pytest.fixture(scope="package")
def front_port() -> int:
    """One after the other has it, since the clinic's address names it."""
    return free_port()


@pytest.fixture(scope="package", params=["nginx", "caddy"])
def front(request: pytest.FixtureRequest) -> str:
    """The web server in front, by name. A test of one alone says so: `@nginx_alone`."""
    name: str = request.param
    reason = MISSING[name]()
    if reason:
        pytest.skip(f"{name}: {reason}")
    return name


@pytest.fixture(scope="package")
def site(front_port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    made = make_site(tmp_path_factory.mktemp("clinic"))
    with made.case.store.writing() as session:
        the_clinic(session).base_url = f"https://localhost:{front_port}"
    made.start()
    yield made
    made.stop()
    made.case.store.engine.dispose()


@pytest.fixture(scope="package")
def proxy(site: Site, front: str, front_port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    with BEFORE[front](site.port, tmp_path_factory.mktemp(front), front_port) as started:
        yield started
