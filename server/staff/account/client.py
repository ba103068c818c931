"""Where a request to sign in comes from: the address, and the device by a cookie that it keeps."""

import ipaddress
import secrets

from flask import Response, request

from server.staff.page import guard
from server.staff.page.database import writing
from server.staff.page.request_context import request_context
from server.trust.tries import KNOWN_FOR, Client, make_known

DEVICE = "yearmark-device"
ONE_HOUSEHOLD = 64  # leading bits of an IPv6 address; whoever has one has them all


def client() -> Client:
    """Behind a web server `remote_addr` is what that server says; see server/app.py."""
    return Client(_place(request.remote_addr or ""), request.cookies.get(guard.cookie_name(DEVICE), ""))


def _place(address: str) -> str:
    try:
        read = ipaddress.ip_address(address)
    except ValueError:
        return address
    if read.version == 4:
        return str(read)
    mapped = read.ipv4_mapped
    return str(mapped) if mapped else str(ipaddress.ip_network((read, ONE_HOUSEHOLD), strict=False))


def know_device(response: Response, *subjects: str) -> None:
    """After the last step of signing in. One device may be known for several accounts; a new cookie for each would forget the others."""
    here = client()
    device = here.device or secrets.token_urlsafe(32)
    with writing() as session:
        for subject in subjects:
            make_known(session, subject, Client(here.address, device), now=request_context().real_now)
    guard.set_cookie(response, DEVICE, device, kept_for=KNOWN_FOR)
