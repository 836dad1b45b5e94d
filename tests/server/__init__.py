"""The ledger on a real PostgreSQL server, started for these tests and ended after them."""
