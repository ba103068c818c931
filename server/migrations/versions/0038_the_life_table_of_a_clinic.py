"""the life table with which deaths are compared, with those that it replaced"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0038"
down_revision = "0037"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "installed_life_table",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(length=300), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.Column("installed_at", Instant(), nullable=False),
        sa.Column("installed_by_id", Big, nullable=True),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.ForeignKeyConstraint(
            ["installed_by_id"], ["staff_account.id"], name=op.f("fk_installed_life_table_installed_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installed_life_table")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
