"""The log: one SQLite file that holds all that was found in the rushes.

`schema` has its tables and the steps from each version of them to the next, `_rows` what a record
is in them, `store` the queries, `recordings` whether a changed file is still the same take.
"""

from calltag.log.recordings import earlier_name
from calltag.log.schema import APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION
from calltag.log.store import Entry, Log

__all__ = [
    "APPLICATION_ID",
    "MIGRATIONS",
    "SCHEMA_VERSION",
    "Entry",
    "Log",
    "earlier_name",
]
