"""The shop: customers, cars, jobs, parts and what was kept of them, in one database.

``store`` opens it (SQLite on this laptop, PostgreSQL for several benches; the same code) and is the only way in: whatever changes
rows does so in ``Store.change``, under the name of who does it, whole or not at all, and written down in the trail.
``rows`` says what is kept; the other modules say what may be done with it. Nothing here knows recordings, drawings or documents.
"""
