"""A hypothesis profile with many examples, for the long proofs."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "soak-3000",
    max_examples=3000,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
