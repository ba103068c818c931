"""A patient's link as a page shows it: to tap, to type and to scan."""

from dataclasses import dataclass

import segno
from markupsafe import Markup

from server.crypto.token import grouped
from server.links.make import link_url
from server.models import Link
from server.staff.page.request_context import request_context


@dataclass(frozen=True)
class ShownLink:
    url: str
    grouped: str
    qr: Markup


def shown_link(link: Link | None) -> ShownLink | None:
    if link is None or link.token is None:
        return None
    url = link_url(request_context().base_url, link.token)
    picture = segno.make(url, error="m", micro=False).svg_inline(scale=4, border=2, omitsize=True)
    return ShownLink(url, grouped(link.token), Markup(picture))  # segno makes the picture from the address alone
