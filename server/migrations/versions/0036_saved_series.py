"""series are saved by name and version, and it is kept when the figures of a sentence were first opened by whom"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0036"
down_revision = "0035"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "series",
        sa.Column("id", Big, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("interests", sa.LargeBinary(), nullable=True),
        sa.Column("withdrawn_at", Instant(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_series")),
        sqlite_strict=True,
    )
    op.create_table(
        "series_version",
        sa.Column("series_id", Big, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("options", sa.String(), nullable=False),
        sa.Column("declared", sa.String(length=20), nullable=False),
        sa.Column("sentences_before", sa.Integer(), nullable=False),
        sa.Column("note", sa.LargeBinary(), nullable=True),
        sa.Column("saved_at", Instant(), nullable=False),
        sa.Column("saved_by_id", Big, nullable=True),
        sa.CheckConstraint("declared IN ('set_before_looking', 'explored')", name=op.f("ck_series_version_declared")),
        sa.CheckConstraint("number > 0", name=op.f("ck_series_version_number")),
        sa.ForeignKeyConstraint(["series_id"], ["series.id"], name=op.f("fk_series_version_series_id")),
        sa.ForeignKeyConstraint(["saved_by_id"], ["staff_account.id"], name=op.f("fk_series_version_saved_by_id")),
        sa.PrimaryKeyConstraint("series_id", "number", name=op.f("pk_series_version")),
        sqlite_strict=True,
    )
    op.create_table(
        "series_look",
        sa.Column("sentence_sha256", sa.LargeBinary(), nullable=False),
        sa.Column("by_id", Big, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_series_look_by_id")),
        sa.PrimaryKeyConstraint("sentence_sha256", "by_id", name=op.f("pk_series_look")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
