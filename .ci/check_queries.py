#!/usr/bin/env python3
"""Asks every built-in question of a report's datasets in DuckDB and compares with the program's own answers, cell by cell.

    check_queries.py PROGRAM REPORT/restricted

Needs the package duckdb.
"""
import pathlib
import sys

import duckdb

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "tests" / "cluster"))
from answers import DATASETS, compare  # noqa: E402


def main():
    if len(sys.argv) != 3:
        raise SystemExit(__doc__)
    program, restricted = sys.argv[1], pathlib.Path(sys.argv[2])
    engine = duckdb.connect()
    for name in DATASETS:
        path = str(restricted / f"{name}.parquet").replace("'", "''")
        engine.execute(f"CREATE VIEW {name} AS SELECT * FROM read_parquet('{path}')")

    def answer_of(sql):
        answer = engine.execute(sql)
        return [column[0] for column in answer.description], answer.fetchall()

    if not compare(program, restricted.parent, f"DuckDB {duckdb.__version__}", answer_of):
        raise SystemExit(1)


main()
