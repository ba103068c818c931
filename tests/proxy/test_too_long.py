"""A body that is too long is answered, with 413, and its connection is not reset while the phone still sends."""

import re

import pytest

from server.app import LONGEST_POST
from server.cli.serving import LONGEST_READ
from tests.journeys.site import Site
from tests.proxy import caddy
from tests.proxy.nginx import CONFIGURATION, Proxy, nginx_alone
from tests.proxy.raw import BEGUN, connected, secured, status_of

MEBIBYTE = 1024 * 1024


def too_long(mebibytes: int) -> bytes:
    length = mebibytes * MEBIBYTE
    return BEGUN + f"Content-Length: {length}\r\n\r\n".encode() + b" " * length


def test_both_servers_take_as_much() -> None:
    (limit,) = re.findall(r"client_max_body_size (\d+)m;", CONFIGURATION.read_text(encoding="utf-8"))
    assert int(limit) * MEBIBYTE == LONGEST_POST


def test_caddy_passes_on_what_the_server_behind_reads_to_its_end() -> None:
    text = caddy.CONFIGURATION.read_text(encoding="utf-8")
    assert {int(limit) * MEBIBYTE for limit in re.findall(r"(?:max_size|request_buffers) (\d+)MiB", text)} == {
        LONGEST_READ
    }


def test_through_the_web_server_it_gets_its_answer(proxy: Proxy) -> None:
    with secured(proxy) as connection:
        connection.sendall(too_long(9))
        assert status_of(connection) == 413


@nginx_alone
def test_through_nginx_it_gets_its_answer_however_long_it_is(proxy: Proxy) -> None:
    with secured(proxy) as connection:
        connection.sendall(too_long(40))
        assert status_of(connection) == 413


@pytest.mark.parametrize("mebibytes", [9, 31])
def test_from_the_server_itself_it_gets_its_answer(site: Site, mebibytes: int) -> None:
    with connected(site.port) as connection:
        connection.sendall(too_long(mebibytes))
        assert status_of(connection) == 413
