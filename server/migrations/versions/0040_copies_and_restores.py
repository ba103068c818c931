"""copies of the clinic, proofs that they can be restored, and restores"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0040"
down_revision = "0039"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "backup_copy",
        sa.Column("id", Big, nullable=False),
        sa.Column("kind", sa.String(length=4), nullable=False),
        sa.Column("backup_id", sa.String(length=32), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("place", sa.String(length=1000), nullable=False),
        sa.Column("length", Big, nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("kind IN ('data', 'keys')", name=op.f("ck_backup_copy_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_backup_copy")),
        sqlite_strict=True,
    )
    op.create_table(
        "restore_proof",
        sa.Column("id", Big, nullable=False),
        sa.Column("proved_at", Instant(), nullable=False),
        sa.Column("backup_id", sa.String(length=32), nullable=False),
        sa.Column("backup_made_at", Instant(), nullable=False),
        sa.Column("same", sa.Boolean(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restore_proof")),
        sqlite_strict=True,
    )
    op.create_table(
        "restoration",
        sa.Column("id", Big, nullable=False),
        sa.Column("restored_at", Instant(), nullable=False),
        sa.Column("backup_id", sa.String(length=32), nullable=False),
        sa.Column("backup_made_at", Instant(), nullable=False),
        sa.Column("released_at", Instant(), nullable=True),
        sa.Column("released_by_id", Big, nullable=True),
        sa.Column("waiting_messages", sa.String(length=11), nullable=True),
        sa.CheckConstraint("waiting_messages IN ('sent', 'passed_over')", name=op.f("ck_restoration_waiting_messages")),
        sa.CheckConstraint(
            "(released_at IS NULL) = (waiting_messages IS NULL)", name=op.f("ck_restoration_release_is_whole")
        ),
        sa.ForeignKeyConstraint(["released_by_id"], ["staff_account.id"], name=op.f("fk_restoration_released_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restoration")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
