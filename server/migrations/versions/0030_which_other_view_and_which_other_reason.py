"""which other view of a radiograph it was, and which other further reason of a revision"""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("clinic_finding", sa.Column("radiograph_views_other", sa.String(80), nullable=True))
    op.add_column("operation", sa.Column("further_reasons_other", sa.String(120), nullable=True))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
