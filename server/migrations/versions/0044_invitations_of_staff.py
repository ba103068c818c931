"""an account may wait for its person, who chooses the password by a link that is good once; when each was last seen is kept"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0044"
down_revision = "0043"
branch_labels = None
depends_on = None

STRICT = {"sqlite_strict": True}


def upgrade() -> None:
    with op.batch_alter_table("staff_account", table_kwargs=STRICT) as account:
        account.alter_column("password_hash", existing_type=sa.String(length=200), nullable=True)
        account.add_column(sa.Column("last_seen_at", Instant(), nullable=True))
    op.create_table(
        "staff_invitation",
        sa.Column("account_id", Big, nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("ends_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["staff_account.id"], name=op.f("fk_staff_invitation_account_id")),
        sa.PrimaryKeyConstraint("account_id", name=op.f("pk_staff_invitation")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_staff_invitation_secret_hash")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
