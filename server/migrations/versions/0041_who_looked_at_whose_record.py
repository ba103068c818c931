"""who looked at whose record, by the hour; the audit trail is found by who, what and which"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0041"
down_revision = "0040"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "patient_view",
        sa.Column("patient_id", Big, nullable=False),
        sa.Column("hour", Instant(), nullable=False),
        sa.Column("by_id", Big, nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_patient_view_by_id")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_patient_view_patient_id")),
        sa.PrimaryKeyConstraint("patient_id", "hour", "by_id", name=op.f("pk_patient_view")),
        sqlite_strict=True,
    )
    op.create_index("ix_patient_view_hour", "patient_view", ["hour"])
    op.create_index("ix_patient_view_by_id_hour", "patient_view", ["by_id", "hour"])
    for column in ("by_id", "action", "thing"):
        op.create_index(f"ix_audit_entry_{column}_at", "audit_entry", [column, "at"])


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
