"""A clinic as one stands on the network: a running server, and a web server with TLS in front of it."""

from collections.abc import Iterator

import pytest

from server.queries.clock import the_clinic
from tests.journeys.site import Site, free_port, make_site
from tests.proxy.nginx import Proxy, nginx_before, reason_missing


@pytest.fixture(scope="package")
def nginx_port() -> int:
    reason = reason_missing()
    if reason:
        pytest.skip(f"nginx: {reason}")
    return free_port()


@pytest.fixture(scope="package")
def site(nginx_port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    made = make_site(tmp_path_factory.mktemp("clinic"))
    with made.case.store.writing() as session:
        the_clinic(session).base_url = f"https://localhost:{nginx_port}"
    made.start()
    yield made
    made.stop()
    made.case.store.engine.dispose()


@pytest.fixture(scope="package")
def proxy(site: Site, nginx_port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    with nginx_before(site.port, tmp_path_factory.mktemp("nginx"), nginx_port) as started:
        yield started
