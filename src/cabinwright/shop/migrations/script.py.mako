"""${message}"""

import sqlalchemy as sa
from alembic import op

from cabinwright.shop.kinds import Exact, Moment

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Raise by one step."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """And back."""
    ${downgrades if downgrades else "pass"}
