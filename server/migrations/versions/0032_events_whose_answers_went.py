"""a row of Today for confirmed events whose answers were set aside or moved"""

from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0032"
down_revision = "0031"
branch_labels = None
depends_on = None

KINDS = (
    "safety_answer", "contact_change", "operated_elsewhere", "event_reported", "lost_proposal", "consent_again", "event_left_behind",
    "clock_wrong", "erased", "said_wrong_side", "said_wrong_date", "said_wrong_person", "said_died", "asked_to_stop", "asked_for_call",
)  # fmt: skip


def upgrade() -> None:
    words = ", ".join(f"'{kind}'" for kind in KINDS)
    with op.batch_alter_table("flag", table_kwargs={"sqlite_strict": True}) as flag:
        flag.drop_constraint(op.f("ck_flag_kind"), type_="check")
        flag.create_check_constraint(op.f("ck_flag_kind"), f"kind IN ({words})")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
