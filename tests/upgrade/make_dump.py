"""Make the dump of a release, out of the cast's month: only before that release is out, never after.

With the address of a PostgreSQL in DATABASE_URL: python tests/upgrade/make_dump.py
"""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import databases  # beside this file: an installed package may own the name `tests`


def main() -> None:
    with databases.scratch("dump_of_release") as address:
        databases.manage(address, "migrate", "--verbosity", "0")
        databases.manage(address, "shell", script=databases.HERE / "fill.py")
        command = [databases.program("pg_dump"), "--no-owner", "--no-privileges", "-d", address]
        text = subprocess.run(command, capture_output=True, check=True).stdout
    databases.DUMP.write_bytes(gzip.compress(text, mtime=0))


if __name__ == "__main__":
    main()
