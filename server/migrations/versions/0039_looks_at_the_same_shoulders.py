"""when figures of the same shoulders were first opened, under whatever words; older looks are known by their words alone"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0039"
down_revision = "0038"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "shoulders_look",
        sa.Column("shoulders_sha256", sa.LargeBinary(), nullable=False),
        sa.Column("by_id", Big, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_shoulders_look_by_id")),
        sa.PrimaryKeyConstraint("shoulders_sha256", "by_id", name=op.f("pk_shoulders_look")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
