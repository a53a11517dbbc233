#!/usr/bin/env python3
"""Asks a dataset of swings, on one machine or on a cluster.

The questions are the files in questions/; this program only binds tables to files, hands the SQL to the
engine as it stands, and prints and writes the answers."""

from __future__ import annotations

import argparse
import csv
import datetime
import io
import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import engines
from dataset import Dataset, Problem, first_damaged, open_dataset
from unpivot import swing_values

HERE = Path(__file__).resolve().parent
# Rows that are printed; --out writes all.
SHOWN = 40
# Characters of a cell that are printed, its last: definitions begin alike.
WIDEST = 40


def main() -> int:
    arguments = parse()
    try:
        run(arguments)
    except Problem as problem:
        print(f"ask.py: {problem}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader of the answers has seen enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        return 130
    return 0


def parse() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Asks a dataset of swings, on one machine or on a cluster.")
    parser.add_argument("engine", metavar="ENGINE", help="duckdb, datafusion, spark://HOST:PORT or local[2]")
    parser.add_argument("dataset", metavar="DATASET", type=Path, help="folder that 'peakorder dataset add' wrote")
    parser.add_argument("questions", metavar="QUESTION", nargs="*", help=f"of {', '.join(known())}; all if none is named")
    parser.add_argument("--out", metavar="FOLDER", type=Path, help="write every answer there as CSV and JSON")
    parser.add_argument("--conf", metavar="KEY=VALUE", action="append", default=[], help="a setting for Spark")
    return parser.parse_intermixed_args()


def known() -> list[str]:
    return sorted(path.stem for path in (HERE / "questions").glob("*.sql"))


def run(arguments: argparse.Namespace) -> None:
    questions = arguments.questions or known()
    for question in questions:
        if question not in known():
            raise Problem(f"{question}: no such question; there are {', '.join(known())}")
    settings = dict(setting.partition("=")[::2] for setting in arguments.conf)
    if "" in settings.values():
        raise Problem("--conf takes KEY=VALUE, like spark.executor.memory=2g")
    if arguments.out:
        try:
            arguments.out.mkdir(parents=True, exist_ok=True)
        except OSError as e:
            raise Problem(f"{arguments.out}: cannot be written to ({e.strerror}); name another folder") from None
    dataset = open_dataset(arguments.dataset)
    for note in dataset.notes:
        print(f"note: {note}", file=sys.stderr)
    engine = engines.start(arguments.engine, settings)
    try:
        answer_all(engine, dataset, questions, arguments)
    except (Problem, BrokenPipeError):
        raise
    except Exception as e:
        # Engines rarely say which file they stumbled over.
        damaged = first_damaged(dataset)
        raise Problem(damaged or f"{arguments.engine}: {' '.join(str(e).split())[:300]}") from None
    finally:
        engine.close()


def answer_all(engine: engines.Engine, dataset: Dataset, questions: list[str], arguments: argparse.Namespace) -> None:
    bind(engine, dataset)
    for question in questions:
        began = time.monotonic()
        columns, rows = engine.ask(sql(question))
        taken_s = time.monotonic() - began
        print(f"{question}: {len(rows)} rows, {taken_s:.2f} s")
        print(table(columns, rows))
        if arguments.out:
            write(arguments.out, question, arguments.engine, columns, rows)


def bind(engine: engines.Engine, dataset: Dataset) -> None:
    """Tables, and the views that the questions rest on."""
    for part in dataset.tables:
        engine.bind(part)
    engine.view("counted_swings", (HERE / "views/counted_swings.sql").read_text())
    engine.view("swing_values", swing_values(dataset.measures))
    engine.view("block_stats_recomputed", (HERE / "views/block_stats_recomputed.sql").read_text())


def sql(question: str) -> str:
    return (HERE / "questions" / f"{question}.sql").read_text()


def table(columns: list[str], rows: list[tuple[Any, ...]]) -> str:
    cells = [columns] + [[shown(value) for value in row] for row in rows[:SHOWN]]
    widths = [max(len(line[i]) for line in cells) for i in range(len(columns))]
    right = [any(isinstance(row[i], int | float) for row in rows[:SHOWN]) for i in range(len(columns))]
    lines = []
    for line in cells:
        aligned = (c.rjust(w) if r else c.ljust(w) for c, w, r in zip(line, widths, right, strict=True))
        lines.append("  ".join(aligned).rstrip())
    if len(rows) > SHOWN:
        lines.append(f"… {len(rows) - SHOWN} more rows; --out FOLDER writes all")
    return "\n".join(lines) + "\n"


def shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    # What a text holds must not steer the terminal.
    text = "" if value is None else "".join(c if c.isprintable() else "?" for c in str(value))
    return text if len(text) <= WIDEST else "…" + text[1 - WIDEST :]


def write(folder: Path, question: str, engine: str, columns: list[str], rows: list[tuple[Any, ...]]) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    whole(folder / f"{question}.csv", text.getvalue())
    plain = [[str(v) if isinstance(v, datetime.date) else v for v in row] for row in rows]
    document = {"question": question, "engine": engine, "columns": columns, "rows": plain}
    whole(folder / f"{question}.json", json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n")


def whole(path: Path, text: str) -> None:
    """A reader sees the old file or the new one."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as e:
        raise Problem(f"{path}: cannot be written ({e.strerror}); make room, or name another folder") from None


if __name__ == "__main__":
    sys.exit(main())
