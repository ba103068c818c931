"""more results of a try to reach a patient, and the basis on which people who are not enrolled are counted"""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

RESULTS = (
    "reached", "no_answer", "wrong_number", "left_message", "promised", "declined", "too_ill", "language", "no_device", "other",
)  # fmt: skip


def upgrade() -> None:
    op.add_column("clinic", sa.Column("log_basis", sa.String(300), nullable=True))
    with op.batch_alter_table("contact_attempt", table_kwargs={"sqlite_strict": True}) as attempt:
        attempt.drop_constraint(op.f("ck_contact_attempt_result"), type_="check")
        words = ", ".join(f"'{each}'" for each in RESULTS)
        attempt.create_check_constraint(op.f("ck_contact_attempt_result"), f"result IN ({words})")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
