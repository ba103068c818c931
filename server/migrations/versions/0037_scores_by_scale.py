"""a series reads every score of a scale from an index alone"""

import sqlalchemy as sa
from alembic import op

revision = "0037"
down_revision = "0036"
branch_labels = None
depends_on = None

VALID = sa.text("superseded_at IS NULL")
COLUMNS = ["instrument", "instrument_version", "scale", "text_id", "response_id", "value", "superseded_at"]


def upgrade() -> None:
    op.create_index("ix_score_by_scale", "score", COLUMNS, unique=False, sqlite_where=VALID, postgresql_where=VALID)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
