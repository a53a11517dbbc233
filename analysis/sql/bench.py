#!/usr/bin/env python3
"""How long do the questions take? A table of engines and datasets, as docs/measurements/many-sessions.md has it."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import ask
import engines
from dataset import Problem, open_dataset


def main() -> int:
    parser = argparse.ArgumentParser(description="Times every question on an engine, once for each dataset.")
    parser.add_argument("engine", metavar="ENGINE")
    parser.add_argument("datasets", metavar="DATASET", nargs="+", type=Path)
    parser.add_argument("--question", metavar="QUESTION", action="append", help="this one only; may be given again")
    parser.add_argument("--conf", metavar="KEY=VALUE", action="append", default=[], help="a setting for Spark")
    arguments = parser.parse_args()
    questions = arguments.question or ask.known()
    try:
        print(f"| {arguments.engine}, seconds | swings | start | {' | '.join(questions)} |")
        print("|---" * (len(questions) + 3) + "|")
        for folder in arguments.datasets:
            times(arguments, folder, questions)
    except Problem as problem:
        print(f"bench.py: {problem}", file=sys.stderr)
        return 2
    return 0


def times(arguments: argparse.Namespace, folder: Path, questions: list[str]) -> None:
    """A row: opening (files, footers, engine, views), and each question once, in this order."""
    began = time.monotonic()
    dataset = open_dataset(folder)
    engine = engines.start(arguments.engine, dict(setting.partition("=")[::2] for setting in arguments.conf))
    ask.bind(engine, dataset)
    taken = [time.monotonic() - began]
    for question in questions:
        began = time.monotonic()
        engine.ask(ask.sql(question))
        taken.append(time.monotonic() - began)
    engine.close()
    swings = next(table.rows for table in dataset.tables if table.name == "swings")
    print(f"| {folder.name} | {swings} | {' | '.join(f'{s:.2f}' for s in taken)} |", flush=True)


if __name__ == "__main__":
    sys.exit(main())
