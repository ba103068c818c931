"""Privacy notice and consent texts of the clinic: what patients are told and asked to agree to, by language and version."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.fields.person import NOTICE_KINDS
from server.store.base import Base, Instant, one_of, partial_index, table_args


class ClinicNotice(Base):
    """One text in one language. Its words never change: a correction is a new version, entered for all languages at once.

    `content`: paragraphs with an empty line between them; a paragraph whose line begins with `# ` is a heading. `sha256` is that of
    the title, an empty line and the content as UTF-8. Of a kind one version is in force, in each language one text of it;
    `replaced_at` says until when, `ended_why` why no next version came.
    """

    __tablename__ = "clinic_notice"
    __table_args__ = table_args(
        one_of("kind", NOTICE_KINDS),
        UniqueConstraint("kind", "version", "language"),
        partial_index("uq_clinic_notice_in_force", "kind", "language", where="replaced_at IS NULL", unique=True),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    version: Mapped[str] = mapped_column(String(20))
    language: Mapped[str] = mapped_column(String(10))
    title: Mapped[str] = mapped_column(String(120))
    content: Mapped[str] = mapped_column(Text)
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    replaced_at: Mapped[datetime | None] = mapped_column(Instant)
    replaced_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    ended_why: Mapped[str | None] = mapped_column(String(400))
