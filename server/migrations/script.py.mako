"""${message}"""

import sqlalchemy as sa
from alembic import op
${imports if imports else ""}
import server.store.base  # noqa: F401  column types of STRICT tables

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
