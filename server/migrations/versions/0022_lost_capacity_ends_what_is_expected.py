"""where a patient cannot decide any more and questionnaires stop, nothing more is expected"""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

LOST = (
    "SELECT f.id, p.capacity_lost_on FROM follow_up f JOIN operation o ON o.id = f.operation_id"
    " JOIN shoulder s ON s.id = o.shoulder_id JOIN patient p ON p.id = s.patient_id"
    " WHERE p.capacity_then = 'stop' AND (f.ended_on IS NULL OR f.ended_on > p.capacity_lost_on)"
)


def upgrade() -> None:
    with op.batch_alter_table("follow_up", table_kwargs={"sqlite_strict": True}) as follow_up:
        follow_up.drop_constraint(op.f("ck_follow_up_end_reason"), type_="check")
        ends = "end_reason IN ('died', 'withdrew', 'transferred', 'cancelled', 'capacity_lost')"
        follow_up.create_check_constraint(op.f("ck_follow_up_end_reason"), ends)
    connection = op.get_bind()
    for row in connection.execute(sa.text(LOST)).all():
        values = {"id": row.id, "day": row.capacity_lost_on}
        ended = "UPDATE follow_up SET ended_on = :day, end_reason = 'capacity_lost' WHERE id = :id"
        connection.execute(sa.text(ended), values)
        # The next pass over statuses writes down what this changes.
        rows = (
            "UPDATE timepoint SET not_expected_on = :day, not_expected_reason = 'capacity_lost', done_at = NULL,"
            " look_again_on = opens_on WHERE follow_up_id = :id"
        )
        connection.execute(sa.text(rows), values)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
