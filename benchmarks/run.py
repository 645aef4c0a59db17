"""Every quality claim of this project is a number printed by this command.

    python benchmarks/run.py --list
    python benchmarks/run.py NAME [--json FILE] [arguments of the measurement]

A measurement is a module ``benchmarks/measure_NAME.py`` with ``DESCRIPTION``, and ``run(arguments) -> dict``, which
prints a table and returns the figures with the baselines beside them. The JSON file gets them with the commit, the
machine and the time.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import platform
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))


def names() -> list[str]:
    return sorted(path.stem.removeprefix("measure_") for path in HERE.glob("measure_*.py"))


def commit() -> str:
    result = subprocess.run(
        ["git", "describe", "--always", "--dirty", "--abbrev=12"], cwd=HERE, capture_output=True, text=True, check=False
    )
    return result.stdout.strip() or "unknown"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("name", nargs="?", help="the measurement")
    parser.add_argument("--list", action="store_true", help="name the measurements")
    parser.add_argument("--json", type=Path, help="write the figures to this file")
    given, rest = parser.parse_known_args()
    if given.list or not given.name:
        for name in names():
            print(f"{name:15} {importlib.import_module(f'measure_{name}').DESCRIPTION}")
        return 0
    if given.name not in names():
        print(f"there is no measurement {given.name!r}; --list names them", file=sys.stderr)
        return 2
    figures = importlib.import_module(f"measure_{given.name}").run(rest)
    if given.json:
        report = {
            "measurement": given.name,
            "commit": commit(),
            "made_at": datetime.now(UTC).replace(microsecond=0).isoformat(),
            "machine": f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}",
            "figures": figures,
        }
        given.json.write_text(json.dumps(report, indent=2, sort_keys=True, ensure_ascii=False) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
