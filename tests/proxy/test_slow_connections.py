"""Connections that never end their request keep nobody else waiting."""

import json
import socket
from contextlib import ExitStack
from http.client import HTTPConnection

from tests.journeys.site import Site, until
from tests.proxy.nginx import Proxy, nginx_alone
from tests.proxy.raw import SLOW_BODY, SLOW_HEADER, begin, connected, heard, is_open, secured
from tests.stranger import b64u

NOBODYS = json.dumps({"lookup": b64u(bytes(32)), "proof": b64u(bytes(32))})
MOST_OF_ONE_ADDRESS = 40


def ask(connection: HTTPConnection) -> tuple[int, int]:
    """What an ordinary phone gets: the first page, and the answer to its proof."""
    connection.request("GET", "/p/")
    page = connection.getresponse()
    page.read()
    connection.request("POST", "/api/due", body=NOBODYS, headers={"Content-Type": "application/json"})
    due = connection.getresponse()
    due.read()
    connection.close()
    return page.status, due.status


def test_a_thousand_slow_connections_through_the_web_server_keep_no_phone_waiting(proxy: Proxy) -> None:
    """From 26 addresses; some never speak, some never end their header, some their body."""
    addresses = [f"127.0.1.{number}" for number in range(1, 27)]
    with ExitStack() as held:
        opened = [begin(held, connected(proxy.port, address), b"") for address in addresses for _each in range(19)]
        opened += [begin(held, secured(proxy, address), SLOW_HEADER) for address in addresses for _each in range(10)]
        opened += [begin(held, secured(proxy, address), SLOW_BODY) for address in addresses for _each in range(10)]
        assert len(opened) >= 1000
        assert ask(proxy.connect()) == (200, 403)
        assert sum(is_open(each) for each in opened) == len(opened), "the attack was over before the phone asked"


@nginx_alone
def test_one_address_holds_forty_requests_at_a_time_and_one_more_is_sent_away(proxy: Proxy) -> None:
    """Which one is not said: nginx has a process for each core, and the one that reads last need not be the one that was sent last."""
    answered: dict[socket.socket, bytes] = {}

    def one_is_answered() -> bool:
        unheard = [each for each in asked if each not in answered]
        answered.update({each: said for each in unheard if (said := heard(each)) is not None})
        return bool(answered)

    with ExitStack() as held:
        asked = [begin(held, secured(proxy, "127.0.2.1"), SLOW_BODY) for _each in range(MOST_OF_ONE_ADDRESS + 1)]
        until(one_is_answered, "one of forty-one is answered")
        # Meanwhile a second one that is sent away is too.
        assert ask(proxy.connect("127.0.2.2")) == (200, 403)
        assert one_is_answered()
        assert [answer[:13] for answer in answered.values()] == [b"HTTP/1.1 503 "]
        assert all(is_open(each) for each in asked if each not in answered)


def test_the_server_alone_answers_beside_slow_bodies_too(site: Site) -> None:
    with ExitStack() as held:
        slow = [begin(held, connected(site.port), SLOW_BODY) for _each in range(150)]
        assert ask(HTTPConnection("127.0.0.1", site.port, timeout=20)) == (200, 403)
        assert sum(is_open(each) for each in slow) == 150
