"""Follow-up plans that a clinic installed."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, table_args


class InstalledPlan(Base):
    """One version of a plan, locked at installation: never changed, never deleted; a correction is a new version.

    `content` are the bytes of the file as UTF-8 text, `sha256` is theirs. `installed_by_id` is None from the command line.
    """

    __tablename__ = "installed_plan"
    __table_args__ = table_args()

    plan_id: Mapped[str] = mapped_column(String(40), primary_key=True)
    version: Mapped[str] = mapped_column(String(10), primary_key=True)
    content: Mapped[str]
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    installed_at: Mapped[datetime] = mapped_column(Instant)
    installed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    @property
    def name(self) -> str:
        return f"{self.plan_id}@{self.version}"
