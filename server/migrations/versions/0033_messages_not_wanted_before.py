"""messages that did not go before version 0029, since the patient asked for none, say so too"""

from alembic import op

revision = "0033"
down_revision = "0032"
branch_labels = None
depends_on = None

# The word for both was `no_consent`. Where a consent to contact stood on the day, it was the wish for no messages. A day compared with a
# moment is its first moment, in SQLite as text.
NOT_WANTED = """
    UPDATE message SET outcome = 'messages_stopped' WHERE outcome = 'no_consent' AND timepoint_id IN (
        SELECT timepoint.id FROM timepoint JOIN patient ON patient.id = timepoint.patient_id
        JOIN consent ON consent.patient_id = patient.id
        WHERE patient.messages_stopped_on <= message.done_at AND consent.kind = 'contact' AND consent.set_aside_at IS NULL
        AND consent.given_on <= message.done_at AND (consent.withdrawn_on IS NULL OR consent.withdrawn_on > message.done_at)
    )
"""


def upgrade() -> None:
    op.execute(NOT_WANTED)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
