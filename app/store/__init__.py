"""What is kept: tables, transactions and everything that is read from or written to a database.

Contracts go in and come out; a row never leaves. SQLite and PostgreSQL hold the same.
"""
