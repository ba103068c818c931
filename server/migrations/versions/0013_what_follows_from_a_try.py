"""what follows from a try to reach a patient"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

UNDONE = (
    "opens_on", "due_on", "closes_on", "anchor_on", "ladder_exhausted_on", "not_expected_on", "done_at", "withheld_on", "last_try",
    "again_on",
)  # fmt: skip


def upgrade() -> None:
    op.add_column("contact_attempt", sa.Column("again_on", sa.Date(), nullable=True))
    op.add_column("timepoint", sa.Column("last_try", sa.String(length=20), nullable=True))
    op.add_column("timepoint", sa.Column("again_on", sa.Date(), nullable=True))
    op.drop_index("ix_timepoint_undone", table_name="timepoint")
    op.create_index(
        "ix_timepoint_undone",
        "timepoint",
        list(UNDONE),
        unique=False,
        sqlite_where=sa.text("done_at IS NULL"),
        postgresql_where=sa.text("done_at IS NULL"),
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
