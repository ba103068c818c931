"""Whether somebody would be told of a safety answer that waits while nobody opens Today."""

from server.installation.finding import Finding, Look
from server.queries.safety_net import read_net, reader_of, readers
from server.words.phrase import phrase


def safety_reader_is_named(look: Look) -> Finding:
    """A reader is needed; a deputy need not be, but one whose account is shut is a net with a hole."""
    net = read_net(look.session)
    named = [account_id for account_id in (net.reader_id, net.deputy_id) if account_id is not None]
    do = phrase("Open Settings, Safety answers that wait, and choose a reader and a deputy.")
    if look.session.scalars(readers()).first() is None:
        do = phrase(
            "Make the accounts of nurses and surgeons under Accounts; then choose a reader and a deputy of them."
        )
    if not named:
        what = phrase("Nobody is named who is told when a safety answer waits and nobody opens Today.")
        return Finding("safety_net", what, do)
    chosen = [reader_of(look.session, account_id) for account_id in named]
    if None in chosen:
        what = phrase("Somebody named for safety answers that wait has a shut account, or may no longer open Today.")
        return Finding("safety_net", what, do)
    not_yet = [each.name for each in chosen if each is not None and each.password_hash is None]
    if not_yet:
        what = phrase(
            "%(name)s is named for safety answers that wait and cannot sign in yet, so cannot open Today.",
            name=not_yet[0],
        )
        return Finding("safety_net", what, phrase("Open Accounts, and invite them again if the invitation is over."))
    return Finding("safety_net", phrase("A reader of safety answers that wait is named."))
