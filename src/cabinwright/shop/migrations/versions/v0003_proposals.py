"""Proposals."""

import sqlalchemy as sa
from alembic import op

from cabinwright.shop.kinds import Exact, Moment

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    op.create_table(
        "offers",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=30), nullable=False),
        sa.Column("changes_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("variants", sa.JSON(), nullable=False),
        sa.Column("chosen", sa.String(length=80), nullable=False),
        sa.Column("signed_by", sa.String(length=200), nullable=False),
        sa.Column("signed_at", Moment(), nullable=True),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["changes_id"], ["offers.id"], name=op.f("fk_offers_changes_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_offers_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_offers")),
        sa.UniqueConstraint("number", name=op.f("uq_offers_number")),
    )
    op.create_index(op.f("ix_offers_job_id"), "offers", ["job_id"], unique=False)
    op.create_index(op.f("ix_offers_state"), "offers", ["state"], unique=False)
    op.create_table(
        "offer_lines",
        sa.Column("offer_id", sa.Integer(), nullable=False),
        sa.Column("variant", sa.String(length=80), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("text", sa.String(length=300), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("quantity", Exact(), nullable=False),
        sa.Column("unit", sa.String(length=10), nullable=False),
        sa.Column("price", Exact(), nullable=False),
        sa.Column("cost", Exact(), nullable=True),
        sa.Column("tax", sa.String(length=40), nullable=False),
        sa.Column("tax_rate", Exact(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["offer_id"], ["offers.id"], name=op.f("fk_offer_lines_offer_id")),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name=op.f("fk_offer_lines_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_offer_lines")),
        sa.UniqueConstraint("offer_id", "variant", "place", name=op.f("uq_offer_lines_offer_id_variant_place")),
    )
    op.create_index("ix_offer_lines_part_id", "offer_lines", ["part_id"], unique=False)


def downgrade() -> None:
    """And back."""
    op.drop_index("ix_offer_lines_part_id", table_name="offer_lines")
    op.drop_table("offer_lines")
    op.drop_index(op.f("ix_offers_state"), table_name="offers")
    op.drop_index(op.f("ix_offers_job_id"), table_name="offers")
    op.drop_table("offers")
