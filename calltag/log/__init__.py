"""The log: one SQLite file that holds all that was found in the rushes.

`schema` has its tables and the steps from each version of them to the next, `_rows` what a record
is in them, `recordings` whether a changed file is still the same take. The `queries` stand by
subject in `takes`, `labels`, `call_types` and `alignments`; `store` opens the file and has them
all.
"""

from calltag.log.recordings import earlier_name
from calltag.log.schema import APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION
from calltag.log.store import Log
from calltag.log.takes import Entry

__all__ = [
    "APPLICATION_ID",
    "MIGRATIONS",
    "SCHEMA_VERSION",
    "Entry",
    "Log",
    "earlier_name",
]
