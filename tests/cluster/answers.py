"""The answers of mendcurve and of another engine to the same questions, held against each other cell by cell."""
import datetime
import decimal
import json
import math
import pathlib
import subprocess

PROJECT = pathlib.Path(__file__).resolve().parents[2]
DATASETS = ["visits", "readings", "episodes"]
# two engines may add the same numbers in another order; none may differ in more than the last few digits
TOLERANCE = 1e-9


def questions(program, report):
    """The built-in questions with their SQL: what the program lists must be the files of queries/."""
    listed = [row["query"] for row in ask(program, report, None)]
    files = {path.stem: path.read_text(encoding="utf-8") for path in (PROJECT / "queries").glob("*.sql")}
    if sorted(listed) != sorted(files):
        raise SystemExit(f"the program lists {sorted(listed)}, queries/ holds {sorted(files)}")
    return files


def ask(program, report, question):
    """The program's answer: a list of rows, each a dictionary."""
    command = [program, "query", *([question] if question else []), "--from", str(report), "--format", "json"]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{question}: {done.stderr}")
    return json.loads(done.stdout)


def plain(cell):
    """A cell of any engine as the program would write it."""
    if isinstance(cell, decimal.Decimal):
        cell = int(cell) if cell == cell.to_integral_value() and cell.as_tuple().exponent >= 0 else float(cell)
    if isinstance(cell, float) and not math.isfinite(cell):
        return None
    return str(cell) if isinstance(cell, datetime.date) else cell


def same(a, b):
    """Whether two cells say the same: numbers within the tolerance, all else exactly."""
    numbers = [isinstance(x, (int, float)) and not isinstance(x, bool) for x in (a, b)]
    if all(numbers):
        return a == b or abs(a - b) <= TOLERANCE * max(abs(a), abs(b))
    return type(a) is type(b) and a == b


def in_order(rows, measured):
    """Rows by their words and whole numbers, then by what is measured: where engines put what is missing is no part of an answer."""
    exact = lambda cell: (cell is not None, str(cell))
    rounded = lambda cell: (cell is not None, float(f"{cell or 0:.6g}"))

    def key(row):
        cells = list(enumerate(row))
        return [exact(c) for i, c in cells if i not in measured], [rounded(c) for i, c in cells if i in measured]

    return sorted(rows, key=key)


def differences(expected, columns, rows):
    """How an answer differs from the program's, in words; nothing if it does not."""
    if expected and list(expected[0]) != list(columns):
        return [f"columns {list(columns)} instead of {list(expected[0])}"]
    if len(expected) != len(rows):
        return [f"{len(rows)} rows instead of {len(expected)}"]
    ours = [list(row.values()) for row in expected]
    theirs = [[plain(cell) for cell in row] for row in rows]
    measured = {i for row in ours + theirs for i, cell in enumerate(row) if isinstance(cell, float)}
    ours, theirs = in_order(ours, measured), in_order(theirs, measured)
    return [
        f"row {number}, {column}: {b!r} instead of {a!r}"
        for number, (left, right) in enumerate(zip(ours, theirs), 1)
        for column, a, b in zip(columns, left, right)
        if not same(a, b)
    ]


def spoiled(rows):
    """The same answer with one cell wrong, once for each column: a check that cannot fail is none."""
    for column in range(len(rows[0])):
        wrong = [list(row) for row in rows]
        at = next((i for i, row in enumerate(wrong) if row[column] is not None), 0)
        cell = plain(wrong[at][column])
        if isinstance(cell, bool):
            wrong[at][column] = not cell
        elif isinstance(cell, (int, float)):
            wrong[at][column] = cell * (1 + 1e-6) + 1e-6
        else:
            wrong[at][column] = f"{cell} "
        yield wrong


def compare(program, report, engine, answer_of):
    """Asks every question of both and prints what came out; `answer_of(sql)` gives columns and rows. True if all agree."""
    faults = cells = 0
    for name, sql in sorted(questions(program, report).items()):
        expected = ask(program, report, name)
        columns, rows = answer_of(sql)
        found = differences(expected, columns, rows)
        if not rows:
            found.append("no rows, so nothing was compared")
        elif not found:
            missed = [columns[i] for i, wrong in enumerate(spoiled(rows)) if not differences(expected, columns, wrong)]
            found.extend(f"a wrong {column} was not seen" for column in missed)
        faults += bool(found)
        cells += len(rows) * len(columns)
        print(f"{name}: {len(rows)} rows, {len(columns)} columns: {'; '.join(found[:3]) or 'the same'}")
    print(f"{engine}: {'every question has the same answer' if not faults else f'{faults} questions differ'}, {cells} cells")
    return not faults
