"""tries of a dead link of its own; what a replaced link sent is accepted; what is held is found by link and reason"""

import secrets

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("envelope", sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=True))
    op.create_index(
        "ix_envelope_held",
        "envelope",
        ["lookup_hash", "held_reason", "id", "state"],
        unique=False,
        sqlite_where=sa.text("state = 'held'"),
        postgresql_where=sa.text("state = 'held'"),
    )
    _dead_links_count_for_themselves()


def _dead_links_count_for_themselves() -> None:
    """Each link that was replaced or has ended gets a handle of its own, and the tries of its patient as they stand."""
    gate = sa.table("gate", sa.column("lookup_hash"), sa.column("handle"), sa.column("state"))
    names = ("handle", "failures", "last_failure_at", "locked_at")
    tries = sa.table("gate_tries", *(sa.column(name) for name in names))
    connection = op.get_bind()
    dead = sa.select(gate.c.lookup_hash, *tries.c).join(tries, tries.c.handle == gate.c.handle)
    for row in connection.execute(dead.where(gate.c.state.in_(("replaced", "ended")))).all():
        values = {**{name: getattr(row, name) for name in names}, "handle": secrets.token_hex(16)}
        connection.execute(sa.insert(tries).values(values))
        connection.execute(sa.update(gate).where(gate.c.lookup_hash == row.lookup_hash).values(handle=values["handle"]))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
