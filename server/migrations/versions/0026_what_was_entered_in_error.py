"""operations and enrolments entered in error, which operation a reported one is, radiographs by scheme, one word for a fixation"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Instant

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
STRICT = {"sqlite_strict": True}
WORDS = {
    "radiograph_scheme": "'reader', 'franklin', 'lazarus', 'mole', 'other', 'unknown'",
    "migration_of": "'humeral', 'glenoid', 'both', 'unknown'",
    "loosening_of": "'humeral', 'glenoid', 'both', 'unknown'",
}
# Three words for one thing, typed with a space, a hyphen or an underline.
WITHOUT_CEMENT = "lower(replace(replace(fixation, ' ', '_'), '-', '_')) IN ('cement_free', 'press_fit')"


def upgrade() -> None:
    for table in ("operation", "patient"):
        op.add_column(table, sa.Column("taken_back_at", Instant(), nullable=True))
    with op.batch_alter_table("follow_up", table_kwargs=STRICT) as follow_up:
        follow_up.drop_constraint(op.f("ck_follow_up_end_reason"), type_="check")
        ends = "end_reason IN ('died', 'withdrew', 'transferred', 'cancelled', 'capacity_lost', 'taken_back')"
        follow_up.create_check_constraint(op.f("ck_follow_up_end_reason"), ends)
    _events()
    op.add_column("response", sa.Column("told_on", sa.Date(), nullable=True))
    for column, words in WORDS.items():
        check = sa.CheckConstraint(f"{column} IN ({words})", name=op.f(f"ck_clinic_finding_{column}"))
        op.add_column("clinic_finding", sa.Column(column, sa.String(20), check, nullable=True))
    op.add_column("clinic_finding", sa.Column("radiograph_scheme_other", sa.String(80), nullable=True))
    op.execute(f"UPDATE operation SET fixation = 'uncemented' WHERE {WITHOUT_CEMENT}")


def _events() -> None:
    """Which operation an event followed is read from the days. Organisms are a list of words, which no CHECK can hold."""
    with op.batch_alter_table("clinic_event", table_kwargs=STRICT) as event:
        event.drop_constraint(op.f("fk_clinic_event_operation_id"), type_="foreignkey")
        event.drop_column("operation_id")
        event.add_column(sa.Column("recorded_as_id", BIG, nullable=True))
        event.create_foreign_key(op.f("fk_clinic_event_recorded_as_id"), "operation", ["recorded_as_id"], ["id"])
        event.drop_constraint(op.f("ck_clinic_event_organism"), type_="check")
        event.alter_column("organism", existing_type=sa.String(20), type_=sa.String(200), existing_nullable=True)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
