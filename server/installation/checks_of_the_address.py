"""Whether patients reach the clinic at an address of its own, and mail comes from one."""

from urllib.parse import urlsplit

from server.fields.sender import NoSender, sender_address
from server.installation.finding import Finding, Look
from server.words.phrase import phrase

# Reserved for examples and tests (RFC 2606), and this machine.
EXAMPLES = ("example", "test", "invalid", "localhost", "example.com", "example.net", "example.org", "127.0.0.1", "::1")


def is_example(host: str) -> bool:
    return any(host.lower().rstrip(".") == name or host.lower().rstrip(".").endswith(f".{name}") for name in EXAMPLES)


def address_is_own(look: Look) -> Finding:
    """Phones keep answers offline and encrypt drafts on secure pages only, and no patient reaches an example."""
    name, parts = "address", urlsplit(look.clinic.base_url)
    if parts.scheme != "https":
        return Finding(
            name,
            phrase("Patients reach the clinic by %(address)s, which is plain HTTP.", address=look.clinic.base_url),
            phrase("Put a web server with a certificate in front, and enter its https address in the settings."),
        )
    if is_example(parts.hostname or ""):
        return Finding(
            name,
            phrase("The address %(address)s is an example: no patient reaches it.", address=look.clinic.base_url),
            phrase("Enter the clinic's own address in the settings. Links that exist already lead to the old one."),
        )
    return Finding(name, phrase("Patients reach the clinic by %(address)s.", address=look.clinic.base_url))


def sender_is_own(look: Look) -> Finding:
    """Mail from an example cannot be answered, and mail from another domain than the clinic's is often taken for forged."""
    name, sender = "sender", look.clinic.mail_from or look.runtime.settings.mail_from
    do = phrase("Enter in the settings a sender of the clinic's own domain, where somebody reads replies.")
    try:
        domain = sender_address(sender).domain
    except NoSender:
        return Finding(name, phrase("“%(sender)s” is no sender of e-mail.", sender=sender), do)
    if is_example(domain):
        return Finding(name, phrase("E-mail comes from %(sender)s, an example.", sender=sender), do)
    host = urlsplit(look.clinic.base_url).hostname or ""
    if not shares_domain(domain, host):
        return Finding(
            name,
            phrase("E-mail comes from %(domain)s, while the forms are at %(host)s.", domain=domain, host=host),
            do,
        )
    return Finding(name, phrase("E-mail comes from %(sender)s.", sender=sender))


def shares_domain(one: str, other: str) -> bool:
    """Whether they are the same, one lies under the other, or both lie side by side in a domain of two names or more.

    `clinic.test` and `followup.clinic.test` share one, and so do `mail.clinic.test` and `followup.clinic.test`.
    """
    first, second = one.lower().rstrip("."), other.lower().rstrip(".")
    if first == second or first.endswith(f".{second}") or second.endswith(f".{first}"):
        return True
    parent = first.partition(".")[2]
    return "." in parent and parent == second.partition(".")[2]
