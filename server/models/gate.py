"""All that the phone-facing part keeps: hashes, a sheet it cannot read, and counted tries. No names, no keys, no answers."""

from datetime import datetime

from sqlalchemy import Boolean, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, one_of, table_args

GATE_STATES = ("due", "nothing_due", "ended", "replaced")


class Gate(Base):
    """One link as phones meet it. `handle` is the patient's random one; a link that was replaced or has ended has one of its own."""

    __tablename__ = "gate"
    __table_args__ = table_args(one_of("state", GATE_STATES))

    lookup_hash: Mapped[bytes] = mapped_column(LargeBinary, primary_key=True)
    handle: Mapped[str] = mapped_column(String(32), index=True)
    state: Mapped[str] = mapped_column(String(12))
    revision: Mapped[int]
    nonce: Mapped[bytes | None] = mapped_column(LargeBinary)
    ciphertext: Mapped[bytes | None] = mapped_column(LargeBinary)


class GateProof(Base):
    """Proofs that open a gate. After a corrected birth date the earlier ones may still upload, but fetch nothing."""

    __tablename__ = "gate_proof"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    lookup_hash: Mapped[bytes] = mapped_column(ForeignKey("gate.lookup_hash"), index=True)
    proof_hash: Mapped[bytes] = mapped_column(LargeBinary)
    current: Mapped[bool] = mapped_column(Boolean)


class GateTries(Base):
    """Wrong proofs in a row, by the gate's handle; five lock until a person at the clinic unlocks.

    The row is made with the handle's first link, so that it can be locked. That of the empty handle counts unknown links and locks nobody.
    """

    __tablename__ = "gate_tries"
    __table_args__ = table_args()

    handle: Mapped[str] = mapped_column(String(32), primary_key=True)
    failures: Mapped[int]
    last_failure_at: Mapped[datetime | None] = mapped_column(Instant)
    locked_at: Mapped[datetime | None] = mapped_column(Instant)


class GateFetch(Base):
    """When each revision of a sheet was first fetched: no form of it can have been finished before."""

    __tablename__ = "gate_fetch"
    __table_args__ = table_args()

    lookup_hash: Mapped[bytes] = mapped_column(ForeignKey("gate.lookup_hash"), primary_key=True)
    revision: Mapped[int] = mapped_column(primary_key=True)
    fetched_at: Mapped[datetime] = mapped_column(Instant)
