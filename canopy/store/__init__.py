"""Readings and what became of each photo in, tables with the promised columns out; SQLite, or PostgreSQL by its URL.

Functions work on an open connection and know no folder, no clock and no photo; only `database` opens anything.
"""
