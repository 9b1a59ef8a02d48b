"""The shop itself: settings, people, cars, jobs, parts, stock and the trail."""

import sqlalchemy as sa
from alembic import op

from cabinwright.shop.kinds import Exact, Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    op.create_table(
        "customers",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("photographs", sa.Boolean(), nullable=False),
        sa.Column("named", sa.Boolean(), nullable=False),
        sa.Column("allowed_at", Moment(), nullable=True),
        sa.Column("erased_at", Moment(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customers")),
    )
    op.create_index(op.f("ix_customers_name"), "customers", ["name"], unique=False)
    op.create_table(
        "settings",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_settings")),
        sa.UniqueConstraint("name", name=op.f("uq_settings_name")),
    )
    op.create_table(
        "suppliers",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_suppliers")),
        sa.UniqueConstraint("name", name=op.f("uq_suppliers_name")),
    )
    op.create_table(
        "tax_rules",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("rate", Exact(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tax_rules")),
        sa.UniqueConstraint("name", "from_on", name=op.f("uq_tax_rules_name_from_on")),
    )
    op.create_table(
        "trail",
        sa.Column("at", Moment(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("subject", sa.String(length=40), nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=10), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail")),
    )
    op.create_index(op.f("ix_trail_at"), "trail", ["at"], unique=False)
    op.create_index("ix_trail_subject_row", "trail", ["subject", "row"], unique=False)
    op.create_table(
        "users",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("password", sa.String(length=300), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_users")),
        sa.UniqueConstraint("name", name=op.f("uq_users_name")),
    )
    op.create_table(
        "cars",
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("mark", sa.String(length=40), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["customer_id"], ["customers.id"], name=op.f("fk_cars_customer_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cars")),
    )
    op.create_index(op.f("ix_cars_customer_id"), "cars", ["customer_id"], unique=False)
    op.create_table(
        "logins",
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("ends_at", Moment(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_logins_user_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_logins")),
        sa.UniqueConstraint("digest", name=op.f("uq_logins_digest")),
    )
    op.create_index(op.f("ix_logins_user_id"), "logins", ["user_id"], unique=False)
    op.create_table(
        "parts",
        sa.Column("number", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("unit", sa.String(length=10), nullable=False),
        sa.Column("price", Exact(), nullable=True),
        sa.Column("cost", Exact(), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("tax", sa.String(length=40), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=True),
        sa.Column("supplier_number", sa.String(length=60), nullable=False),
        sa.Column("least", Exact(), nullable=True),
        sa.Column("minutes", Exact(), nullable=True),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("gone", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.CheckConstraint("price >= 0", name=op.f("ck_parts_price")),
        sa.ForeignKeyConstraint(["supplier_id"], ["suppliers.id"], name=op.f("fk_parts_supplier_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_parts")),
        sa.UniqueConstraint("number", name=op.f("uq_parts_number")),
    )
    op.create_index("ix_parts_kind_name", "parts", ["kind", "name"], unique=False)
    op.create_index(op.f("ix_parts_name"), "parts", ["name"], unique=False)
    op.create_index(op.f("ix_parts_supplier_id"), "parts", ["supplier_id"], unique=False)
    op.create_table(
        "jobs",
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("earlier_id", sa.Integer(), nullable=True),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("closed_at", Moment(), nullable=True),
        sa.Column("wishes", sa.JSON(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["car_id"], ["cars.id"], name=op.f("fk_jobs_car_id")),
        sa.ForeignKeyConstraint(["earlier_id"], ["jobs.id"], name=op.f("fk_jobs_earlier_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
        sa.UniqueConstraint("number", name=op.f("uq_jobs_number")),
    )
    op.create_index(op.f("ix_jobs_car_id"), "jobs", ["car_id"], unique=False)
    op.create_index(op.f("ix_jobs_earlier_id"), "jobs", ["earlier_id"], unique=False)
    op.create_index(op.f("ix_jobs_promised_on"), "jobs", ["promised_on"], unique=False)
    op.create_index(op.f("ix_jobs_state"), "jobs", ["state"], unique=False)
    op.create_table(
        "movements",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("quantity", Exact(), nullable=False),
        sa.Column("reason", sa.String(length=20), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.CheckConstraint("quantity <> 0", name=op.f("ck_movements_quantity")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_movements_job_id")),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name=op.f("fk_movements_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_movements")),
    )
    op.create_index(op.f("ix_movements_job_id"), "movements", ["job_id"], unique=False)
    op.create_index(op.f("ix_movements_part_id"), "movements", ["part_id"], unique=False)


def downgrade() -> None:
    """And back."""
    op.drop_index(op.f("ix_movements_part_id"), table_name="movements")
    op.drop_index(op.f("ix_movements_job_id"), table_name="movements")
    op.drop_table("movements")
    op.drop_index(op.f("ix_jobs_state"), table_name="jobs")
    op.drop_index(op.f("ix_jobs_promised_on"), table_name="jobs")
    op.drop_index(op.f("ix_jobs_earlier_id"), table_name="jobs")
    op.drop_index(op.f("ix_jobs_car_id"), table_name="jobs")
    op.drop_table("jobs")
    op.drop_index(op.f("ix_parts_supplier_id"), table_name="parts")
    op.drop_index(op.f("ix_parts_name"), table_name="parts")
    op.drop_index("ix_parts_kind_name", table_name="parts")
    op.drop_table("parts")
    op.drop_index(op.f("ix_logins_user_id"), table_name="logins")
    op.drop_table("logins")
    op.drop_index(op.f("ix_cars_customer_id"), table_name="cars")
    op.drop_table("cars")
    op.drop_table("users")
    op.drop_index("ix_trail_subject_row", table_name="trail")
    op.drop_index(op.f("ix_trail_at"), table_name="trail")
    op.drop_table("trail")
    op.drop_table("tax_rules")
    op.drop_table("suppliers")
    op.drop_table("settings")
    op.drop_index(op.f("ix_customers_name"), table_name="customers")
    op.drop_table("customers")
