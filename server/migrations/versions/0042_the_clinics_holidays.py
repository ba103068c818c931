"""days on which the clinic is closed"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0042"
down_revision = "0041"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "clinic_holiday",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=True),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=False),
        sa.Column("yearly", sa.Boolean(), nullable=False),
        sa.Column("added_at", Instant(), nullable=False),
        sa.Column("added_by_id", Big, nullable=True),
        sa.Column("removed_at", Instant(), nullable=True),
        sa.Column("removed_by_id", Big, nullable=True),
        sa.CheckConstraint("last_on >= first_on", name=op.f("ck_clinic_holiday_in_order")),
        sa.ForeignKeyConstraint(["added_by_id"], ["staff_account.id"], name=op.f("fk_clinic_holiday_added_by_id")),
        sa.ForeignKeyConstraint(["removed_by_id"], ["staff_account.id"], name=op.f("fk_clinic_holiday_removed_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic_holiday")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
