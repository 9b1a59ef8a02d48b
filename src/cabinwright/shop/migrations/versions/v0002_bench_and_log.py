"""Tasks, hours, what a job needs, and what is kept of it."""

import sqlalchemy as sa
from alembic import op

from cabinwright.shop.kinds import Exact, Moment

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    op.create_table(
        "build_states",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_build_states_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_build_states")),
        sa.UniqueConstraint("job_id", "mark", name=op.f("uq_build_states_job_id_mark")),
    )
    op.create_index(op.f("ix_build_states_job_id"), "build_states", ["job_id"], unique=False)
    op.create_index(op.f("ix_build_states_mark"), "build_states", ["mark"], unique=False)
    op.create_table(
        "notes",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("pinned", sa.String(length=200), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_notes_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notes")),
    )
    op.create_index(op.f("ix_notes_job_id"), "notes", ["job_id"], unique=False)
    op.create_table(
        "tasks",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("planned_h", Exact(), nullable=True),
        sa.Column("hidden", sa.Boolean(), nullable=False),
        sa.Column("done_at", Moment(), nullable=True),
        sa.Column("done_by", sa.String(length=80), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_tasks_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tasks")),
    )
    op.create_index(op.f("ix_tasks_job_id"), "tasks", ["job_id"], unique=False)
    op.create_index(op.f("ix_tasks_kind"), "tasks", ["kind"], unique=False)
    op.create_table(
        "hours",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("began_at", Moment(), nullable=False),
        sa.Column("ended_at", Moment(), nullable=True),
        sa.Column("user_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_hours_job_id")),
        sa.ForeignKeyConstraint(["task_id"], ["tasks.id"], name=op.f("fk_hours_task_id")),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_hours_user_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hours")),
    )
    op.create_index(op.f("ix_hours_by"), "hours", ["by"], unique=False)
    op.create_index(op.f("ix_hours_job_id"), "hours", ["job_id"], unique=False)
    op.create_index(op.f("ix_hours_kind"), "hours", ["kind"], unique=False)
    op.create_index(op.f("ix_hours_task_id"), "hours", ["task_id"], unique=False)
    op.create_table(
        "kept_files",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("shown", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("pinned", sa.String(length=200), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("public", sa.Boolean(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_kept_files_job_id")),
        sa.ForeignKeyConstraint(["task_id"], ["tasks.id"], name=op.f("fk_kept_files_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_files")),
    )
    op.create_index(op.f("ix_kept_files_job_id"), "kept_files", ["job_id"], unique=False)
    op.create_index(op.f("ix_kept_files_mark"), "kept_files", ["mark"], unique=False)
    op.create_index(op.f("ix_kept_files_task_id"), "kept_files", ["task_id"], unique=False)
    op.create_table(
        "needs",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=True),
        sa.Column("quantity", Exact(), nullable=False),
        sa.Column("ordered", Exact(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_needs_job_id")),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name=op.f("fk_needs_part_id")),
        sa.ForeignKeyConstraint(["task_id"], ["tasks.id"], name=op.f("fk_needs_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_needs")),
    )
    op.create_index(op.f("ix_needs_job_id"), "needs", ["job_id"], unique=False)
    op.create_index(op.f("ix_needs_part_id"), "needs", ["part_id"], unique=False)
    op.create_index(op.f("ix_needs_task_id"), "needs", ["task_id"], unique=False)
    op.create_table(
        "task_orders",
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("before_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.CheckConstraint("task_id <> before_id", name=op.f("ck_task_orders_not_itself")),
        sa.ForeignKeyConstraint(["before_id"], ["tasks.id"], name=op.f("fk_task_orders_before_id")),
        sa.ForeignKeyConstraint(["task_id"], ["tasks.id"], name=op.f("fk_task_orders_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_task_orders")),
        sa.UniqueConstraint("task_id", "before_id", name=op.f("uq_task_orders_task_id_before_id")),
    )
    op.create_index(op.f("ix_task_orders_before_id"), "task_orders", ["before_id"], unique=False)
    op.create_index(op.f("ix_task_orders_task_id"), "task_orders", ["task_id"], unique=False)


def downgrade() -> None:
    """And back."""
    op.drop_index(op.f("ix_task_orders_task_id"), table_name="task_orders")
    op.drop_index(op.f("ix_task_orders_before_id"), table_name="task_orders")
    op.drop_table("task_orders")
    op.drop_index(op.f("ix_needs_task_id"), table_name="needs")
    op.drop_index(op.f("ix_needs_part_id"), table_name="needs")
    op.drop_index(op.f("ix_needs_job_id"), table_name="needs")
    op.drop_table("needs")
    op.drop_index(op.f("ix_kept_files_task_id"), table_name="kept_files")
    op.drop_index(op.f("ix_kept_files_mark"), table_name="kept_files")
    op.drop_index(op.f("ix_kept_files_job_id"), table_name="kept_files")
    op.drop_table("kept_files")
    op.drop_index(op.f("ix_hours_task_id"), table_name="hours")
    op.drop_index(op.f("ix_hours_kind"), table_name="hours")
    op.drop_index(op.f("ix_hours_job_id"), table_name="hours")
    op.drop_index(op.f("ix_hours_by"), table_name="hours")
    op.drop_table("hours")
    op.drop_index(op.f("ix_tasks_kind"), table_name="tasks")
    op.drop_index(op.f("ix_tasks_job_id"), table_name="tasks")
    op.drop_table("tasks")
    op.drop_index(op.f("ix_notes_job_id"), table_name="notes")
    op.drop_table("notes")
    op.drop_index(op.f("ix_build_states_mark"), table_name="build_states")
    op.drop_index(op.f("ix_build_states_job_id"), table_name="build_states")
    op.drop_table("build_states")
