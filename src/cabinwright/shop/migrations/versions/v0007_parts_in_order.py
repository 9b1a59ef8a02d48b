"""Parts that are to be had, in the order in which they are listed: the middle of a long list is counted off in the index."""

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    op.drop_index("ix_parts_kind_name", table_name="parts")
    op.create_index("ix_parts_listed", "parts", ["gone", "kind", "name", "id"], unique=False)
    op.drop_index("ix_parts_least", table_name="parts")
    op.create_index("ix_parts_least", "parts", ["gone", "least"], unique=False)


def downgrade() -> None:
    """And back."""
    op.drop_index("ix_parts_least", table_name="parts")
    op.create_index("ix_parts_least", "parts", ["least"], unique=False)
    op.drop_index("ix_parts_listed", table_name="parts")
    op.create_index("ix_parts_kind_name", "parts", ["kind", "name"], unique=False)
