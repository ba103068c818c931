"""Which addresses are examples, and which two belong to one clinic."""

from server.installation.checks_of_the_address import is_example, shares_domain


def test_what_is_reserved_for_examples_is_known_by_its_end() -> None:
    assert all(is_example(host) for host in ("a.example", "EXAMPLE.org", "b.example.com.", "x.test", "::1"))
    assert not any(is_example(host) for host in ("myexample.org", "example.clinic.org", "contest.org"))


def test_a_domain_is_shared_by_what_lies_in_it_and_not_by_neighbours_under_one_country() -> None:
    assert shares_domain("clinic.org", "followup.clinic.org") and shares_domain("mail.clinic.org", "f.clinic.org")
    assert not shares_domain("clinic.org", "other.org") and not shares_domain("clinic.co.uk", "f.other.co.uk")
