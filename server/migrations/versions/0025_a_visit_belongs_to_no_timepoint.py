"""a visit belongs to no timepoint: nobody could ever name one"""

from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("clinic_finding", table_kwargs={"sqlite_strict": True}) as clinic_finding:
        clinic_finding.drop_column("timepoint_id")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
