"""What was ordered belongs to the part, not to one job's need of it: a delivery serves whoever is first."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

ALL = "SELECT SUM(ordered) FROM needs WHERE needs.part_id = parts.id"
COMING = "SELECT coming FROM parts WHERE parts.id = needs.part_id"


def upgrade() -> None:
    """Raise by one step."""
    op.add_column("parts", sa.Column("coming", sa.BigInteger(), nullable=False, server_default="0"))
    op.execute(f"UPDATE parts SET coming = COALESCE(({ALL}), 0)")
    op.drop_column("needs", "ordered")
    op.drop_column("needs", "due_on")
    op.create_index("ix_parts_least", "parts", ["least"], unique=False)


def downgrade() -> None:
    """And back, to the first need of each part; what was ordered for no job at all cannot be said there."""
    op.add_column("needs", sa.Column("ordered", sa.BigInteger(), nullable=False, server_default="0"))
    op.add_column("needs", sa.Column("due_on", sa.Date(), nullable=True))
    op.execute(f"UPDATE needs SET ordered = ({COMING}) WHERE id IN (SELECT MIN(id) FROM needs GROUP BY part_id)")
    op.drop_index("ix_parts_least", table_name="parts")
    op.drop_column("parts", "coming")
