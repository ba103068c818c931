"""Reminder ladders that a clinic installed, and which one was in force since when."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, table_args


class InstalledLadder(Base):
    """One version of a ladder, locked at installation: never changed, never deleted; a correction is a new version.

    `name` is such as "harbour@1". `content` are the bytes of the file as UTF-8 text, `sha256` is theirs. `installed_by_id` is
    None from the command line.
    """

    __tablename__ = "installed_ladder"
    __table_args__ = table_args()

    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    content: Mapped[str]
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    installed_at: Mapped[datetime] = mapped_column(Instant)
    installed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class LadderChoice(Base):
    """Append-only. The last row names the ladder in force; without any it is the one that the program ships as default."""

    __tablename__ = "ladder_choice"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    name: Mapped[str] = mapped_column(String(40))
    chosen_at: Mapped[datetime] = mapped_column(Instant)
    chosen_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
