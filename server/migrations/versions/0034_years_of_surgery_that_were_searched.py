"""for which years of surgery every operation was searched for later ones"""

import sqlalchemy as sa
from alembic import op

revision = "0034"
down_revision = "0033"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("clinic", sa.Column("searched_years", sa.String(120), nullable=True))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
