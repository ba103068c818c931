"""exports that were locked, so that a paper can refer to one"""

import sqlalchemy as sa
from alembic import op

import server.store.base

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "data_lock",
        sa.Column("id", BIG, nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("why", server.store.base.Sealed("data_lock.why"), nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.Column("length", BIG, nullable=False),
        sa.Column("made_at", server.store.base.Instant(), nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["made_by_id"], ["staff_account.id"], name=op.f("fk_data_lock_made_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_data_lock")),
        sa.UniqueConstraint("name", name=op.f("uq_data_lock_name")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
