"""who is told that a safety answer waits, who was first shown one, what went out about it"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0043"
down_revision = "0042"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "safety_net",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reader_id", Big, nullable=True),
        sa.Column("deputy_id", Big, nullable=True),
        sa.Column("first_hours", sa.Integer(), nullable=False),
        sa.Column("second_hours", sa.Integer(), nullable=False),
        sa.Column("weekdays", sa.String(length=13), nullable=False),
        sa.Column("begins_hour", sa.Integer(), nullable=False),
        sa.Column("ends_hour", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_safety_net_only_one")),
        sa.ForeignKeyConstraint(["reader_id"], ["staff_account.id"], name=op.f("fk_safety_net_reader_id")),
        sa.ForeignKeyConstraint(["deputy_id"], ["staff_account.id"], name=op.f("fk_safety_net_deputy_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_safety_net")),
        sqlite_strict=True,
    )
    op.create_table(
        "safety_look",
        sa.Column("flag_id", Big, autoincrement=False, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by_id", Big, nullable=False),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_safety_look_flag_id")),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_safety_look_by_id")),
        sa.PrimaryKeyConstraint("flag_id", name=op.f("pk_safety_look")),
        sqlite_strict=True,
    )
    op.create_table(
        "safety_notice",
        sa.Column("id", Big, nullable=False),
        sa.Column("flag_id", Big, nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("account_id", Big, nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("lease_no", sa.Integer(), nullable=False),
        sa.Column("leased_until", Instant(), nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.String(length=120), nullable=False),
        sa.Column("last_problem", sa.String(length=200), nullable=True),
        sa.Column("outcome", sa.String(length=10), nullable=True),
        sa.Column("done_at", Instant(), nullable=True),
        sa.CheckConstraint("outcome IN ('sent', 'seen', 'nobody', 'failed')", name=op.f("ck_safety_notice_outcome")),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_safety_notice_flag_id")),
        sa.ForeignKeyConstraint(["account_id"], ["staff_account.id"], name=op.f("fk_safety_notice_account_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_safety_notice")),
        sa.UniqueConstraint("flag_id", "step", "account_id", name=op.f("uq_safety_notice_flag_id_step_account_id")),
        sqlite_strict=True,
    )
    op.create_index(
        "ix_safety_notice_waiting",
        "safety_notice",
        ["done_at", "leased_until", "id"],
        unique=False,
        sqlite_where=sa.text("done_at IS NULL"),
        postgresql_where=sa.text("done_at IS NULL"),
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
