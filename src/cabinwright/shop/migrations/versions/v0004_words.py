"""Words by which everything is found again: filled from what is there, under the database's own full-text index."""

import unicodedata

import sqlalchemy as sa
from alembic import op

from cabinwright.shop.kinds import Moment

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

SOURCES = {
    "customers": ("customer", "name || ' ' || contact || ' ' || note"),
    "cars": ("car", "name || ' ' || mark || ' ' || note"),
    "jobs": ("job", "number || ' ' || title || ' ' || note"),
    "parts": ("part", "number || ' ' || name || ' ' || supplier_number || ' ' || note"),
    "notes": ("note", "text || ' ' || pinned"),
}
LITE = (
    "CREATE VIRTUAL TABLE words_index USING fts5(text, content='words', content_rowid='id', "
    "tokenize='unicode61 remove_diacritics 2')",
    "CREATE TRIGGER words_made AFTER INSERT ON words BEGIN INSERT INTO words_index(rowid, text) VALUES (new.id, new.text); END",
    "CREATE TRIGGER words_removed AFTER DELETE ON words BEGIN "
    "INSERT INTO words_index(words_index, rowid, text) VALUES ('delete', old.id, old.text); END",
    "CREATE TRIGGER words_changed AFTER UPDATE ON words BEGIN "
    "INSERT INTO words_index(words_index, rowid, text) VALUES ('delete', old.id, old.text); "
    "INSERT INTO words_index(rowid, text) VALUES (new.id, new.text); END",
)


def upgrade() -> None:
    """Raise by one step."""
    op.create_table(
        "words",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("ref", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_words")),
        sa.UniqueConstraint("kind", "ref", name=op.f("uq_words_kind_ref")),
    )
    op.create_index("ix_words_ref", "words", ["ref"], unique=False)
    if op.get_bind().dialect.name == "sqlite":
        for words in LITE:
            op.execute(words)
    else:
        op.execute("CREATE INDEX ix_words_text ON words USING gin (to_tsvector('simple', text))")
    connection = op.get_bind()
    insert = sa.text(
        "INSERT INTO words (kind, ref, text, made_at, count) VALUES (:kind, :ref, :text, CURRENT_TIMESTAMP, 1)"
    )
    for table, (kind, text) in SOURCES.items():
        rows = connection.execute(sa.text(f"SELECT id, {text} FROM {table}")).all()
        if rows:
            connection.execute(insert, [{"kind": kind, "ref": ref, "text": _folded(words)} for ref, words in rows])


def _folded(words: str) -> str:
    """As the rows' words are folded today."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", words.casefold()) if not unicodedata.combining(sign))


def downgrade() -> None:
    """And back. The words can be made again from the rows."""
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TABLE words_index")
    op.drop_index("ix_words_ref", table_name="words")
    op.drop_table("words")
