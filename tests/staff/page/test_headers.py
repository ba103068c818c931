"""The policy that browsers are given, and what is added over https."""

from server.staff.page.headers import POLICY
from tests.staff.staff_case import StaffCase


def test_the_policy_allows_nothing_inline_and_nothing_foreign() -> None:
    assert "unsafe" not in POLICY and "http" not in POLICY and "*" not in POLICY
    assert {"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'"} <= set(POLICY.split("; "))


def test_over_https_browsers_are_told_to_stay_there(staff: StaffCase) -> None:
    def told(base: str) -> str | None:
        return staff.browser().get("/sign-in", base_url=base).headers.get("Strict-Transport-Security")

    assert told("https://clinic.example") == "max-age=31536000"
    assert told("http://localhost") is None
