"""Migrations of the archive's tables, run by Alembic."""
