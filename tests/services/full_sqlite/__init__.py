"""A database backend of Django: SQLite whose file can be kept from growing."""
