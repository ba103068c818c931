"""what a held notice says, so that a death told by an old link pauses messages too"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

KINDS = (
    "said_wrong_side", "said_wrong_date", "said_wrong_person", "said_died", "asked_to_stop", "asked_for_call",
)  # fmt: skip
KIND = f"held_notice IN ({', '.join(repr(kind) for kind in KINDS)})"


def upgrade() -> None:
    one_of = sa.CheckConstraint(KIND, name=op.f("ck_envelope_held_notice"))
    op.add_column("envelope", sa.Column("held_notice", sa.String(length=20), one_of, nullable=True))
    op.drop_index("ix_envelope_held", table_name="envelope")
    op.create_index(
        "ix_envelope_held",
        "envelope",
        ["lookup_hash", "held_reason", "held_notice", "id", "state"],
        unique=False,
        sqlite_where=sa.text("state = 'held'"),
        postgresql_where=sa.text("state = 'held'"),
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
