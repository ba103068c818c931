"""The one clinic of this installation: its settings (see `server/fields/clinic.py`) and the demo's clock."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import CheckConstraint, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, TextByLanguage, one_of, table_args

CLINIC_MODES = ("demo", "live")


class Clinic(Base):
    __tablename__ = "clinic"
    __table_args__ = table_args(
        one_of("mode", CLINIC_MODES),
        CheckConstraint("id = 1", name="only_one"),
        CheckConstraint(
            "mode = 'demo' OR (phone <> '' AND closed_phone <> '' AND emergency_number <> '')", name="live_has_numbers"
        ),
        CheckConstraint("mode = 'demo' OR clock_real_at IS NULL", name="live_has_no_clock"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    mode: Mapped[str] = mapped_column(String(5))
    phone: Mapped[str] = mapped_column(String(40))
    phone_hours: Mapped[Mapping[str, str]] = mapped_column(TextByLanguage)
    closed_phone: Mapped[str] = mapped_column(String(40))
    emergency_number: Mapped[str] = mapped_column(String(20))
    time_zone: Mapped[str] = mapped_column(String(40))
    languages: Mapped[str] = mapped_column(String(60))  # comma-separated
    default_plan: Mapped[str] = mapped_column(String(60))  # "standard@1"
    base_url: Mapped[str] = mapped_column(String(200))
    mail_from: Mapped[str | None] = mapped_column(String(200))  # empty: the sender that the server was started with
    surgeons: Mapped[str | None] = mapped_column(String(2000))  # one name a line
    majority_age: Mapped[int | None]  # empty: 18
    log_basis: Mapped[str | None] = mapped_column(
        String(300)
    )  # on which the log keeps operations of people who are not enrolled
    searched_years: Mapped[str | None] = mapped_column(String(120))  # read by server/fields/searched_years.py
    # Demo only: at the real instant `clock_real_at` the clinic's clock showed `clock_shown_at`, and it runs on from there.
    clock_real_at: Mapped[datetime | None] = mapped_column(Instant)
    clock_shown_at: Mapped[datetime | None] = mapped_column(Instant)
