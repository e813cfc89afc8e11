"""Holds the write lock of an SQLite file: FILE SECONDS. Says "held" once it has it."""

import sqlite3
import sys
import time

db = sqlite3.connect(sys.argv[1], isolation_level=None, timeout=30)
db.execute("BEGIN IMMEDIATE")
print("held", flush=True)
time.sleep(float(sys.argv[2]))
db.execute("ROLLBACK")
