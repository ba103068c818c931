"""decisions withdrawn, and forms withheld"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

UNDONE = ("opens_on", "due_on", "closes_on", "anchor_on", "ladder_exhausted_on", "not_expected_on", "done_at")


def upgrade() -> None:
    op.create_table(
        "text_withdrawal",
        sa.Column("decision_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_text_withdrawal_by_id")),
        sa.ForeignKeyConstraint(["decision_id"], ["text_decision.id"], name=op.f("fk_text_withdrawal_decision_id")),
        sa.PrimaryKeyConstraint("decision_id", name=op.f("pk_text_withdrawal")),
        sqlite_strict=True,
    )
    op.add_column("timepoint", sa.Column("withheld_on", sa.Date(), nullable=True))
    op.add_column("timepoint", sa.Column("withheld_texts", sa.String(), nullable=True))
    op.add_column("timepoint", sa.Column("withheld_unasked", sa.Boolean(), nullable=True))
    op.drop_index("ix_timepoint_undone", table_name="timepoint")
    op.create_index(
        "ix_timepoint_undone",
        "timepoint",
        [*UNDONE, "withheld_on"],
        unique=False,
        sqlite_where=sa.text("done_at IS NULL"),
        postgresql_where=sa.text("done_at IS NULL"),
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
