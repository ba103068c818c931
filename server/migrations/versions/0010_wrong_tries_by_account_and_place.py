"""wrong tries by account and place"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sign_in_tries",
        sa.Column("subject_hash", sa.LargeBinary(), nullable=False),
        sa.Column("place_hash", sa.LargeBinary(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_failure_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("succeeded_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("subject_hash", "place_hash", name=op.f("pk_sign_in_tries")),
        sqlite_strict=True,
    )
    op.drop_column("staff_account", "failures")
    op.drop_column("staff_account", "locked_until")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
