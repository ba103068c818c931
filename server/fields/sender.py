"""The sender of the clinic's e-mail, `name <address>`, as it is typed in the settings or in the environment."""

from email.errors import MessageError
from email.headerregistry import Address
from email.utils import getaddresses

LOOKS_LIKE = "write name <address>, such as Shoulder clinic <follow-up@YOUR-DOMAIN>"


class NoSender(ValueError):
    """The text holds no address that mail could come from."""


def sender_address(sender: str) -> Address:
    """Raises NoSender, also for several addresses, and for one that is not ASCII, which few mail servers take (RFC 6531)."""
    found = getaddresses([sender])
    try:
        (name, address), *more = found
        if more or "@" not in address or not address.isascii():
            raise ValueError(sender)
        return Address(display_name=name, addr_spec=address)
    except (IndexError, MessageError, ValueError) as problem:
        raise NoSender(f"{sender!r} is no sender; {LOOKS_LIKE}") from problem


PLACEHOLDER = "your-domain"  # what the examples write, for the clinic's own


def belongs_to_nobody(address: Address) -> bool:
    """Names under `.example` are reserved (RFC 2606), and who leaves the word of an example has none: nobody can answer there."""
    return address.domain.lower().endswith(".example") or address.domain.lower() == PLACEHOLDER
