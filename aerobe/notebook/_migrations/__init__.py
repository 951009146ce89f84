"""Steps from one schema of the notebook to the next; Alembic runs them."""
