"""A guest is somebody's: the customer whose jobs, and no others, they may look at."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    op.add_column("users", sa.Column("customer_id", sa.Integer(), nullable=True))


def downgrade() -> None:
    """And back: guests lose whose they are, and see nothing until it is said again."""
    op.drop_column("users", "customer_id")
