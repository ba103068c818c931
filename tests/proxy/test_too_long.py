"""A body that is too long is answered, with 413, and its connection is not reset while the phone still sends."""

import re

import pytest

from server.app import LONGEST_POST
from tests.journeys.site import Site
from tests.proxy.nginx import CONFIGURATION, Proxy
from tests.proxy.raw import BEGUN, connected, secured, status_of

MEBIBYTE = 1024 * 1024


def too_long(mebibytes: int) -> bytes:
    length = mebibytes * MEBIBYTE
    return BEGUN + f"Content-Length: {length}\r\n\r\n".encode() + b" " * length


def test_both_servers_take_as_much() -> None:
    (limit,) = re.findall(r"client_max_body_size (\d+)m;", CONFIGURATION.read_text(encoding="utf-8"))
    assert int(limit) * MEBIBYTE == LONGEST_POST


@pytest.mark.parametrize("mebibytes", [9, 40])
def test_through_the_web_server_it_gets_its_answer(proxy: Proxy, mebibytes: int) -> None:
    with secured(proxy) as connection:
        connection.sendall(too_long(mebibytes))
        assert status_of(connection) == 413


@pytest.mark.parametrize("mebibytes", [9, 31])
def test_from_the_server_itself_it_gets_its_answer(site: Site, mebibytes: int) -> None:
    with connected(site.port) as connection:
        connection.sendall(too_long(mebibytes))
        assert status_of(connection) == 413
