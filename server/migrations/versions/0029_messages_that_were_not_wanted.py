"""a message that did not go since the patient asked for none says so"""

from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None

OUTCOMES = (
    "sent", "returned", "no_contact", "no_consent", "messages_stopped", "already_answered", "window_closed", "passed_over",
    "channel_failed", "ended",
)  # fmt: skip


def upgrade() -> None:
    with op.batch_alter_table("message", table_kwargs={"sqlite_strict": True}) as message:
        message.drop_constraint(op.f("ck_message_outcome"), type_="check")
        words = ", ".join(repr(word) for word in OUTCOMES)
        message.create_check_constraint(op.f("ck_message_outcome"), f"outcome IN ({words})")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
