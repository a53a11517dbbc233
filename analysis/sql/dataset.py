"""The files of a peakorder dataset: which belong to it, and whether they can be asked.

Nothing is computed here. What is wrong is said in one line that names the file and what to do."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SCHEMA = "peakorder.dataset/1"

# Columns that the questions use, in the words of Arrow.
STRING, INT, DOUBLE, BOOLEAN = "string", "int32", "double", "bool"
UTC, DAY = "timestamp[us, tz=UTC]", "date32[day]"
COLUMNS: dict[str, dict[str, str]] = {
    "swings": {
        "session_id": STRING,
        "player_id": STRING,
        "swing": INT,
        "block_no": INT,
        "block": STRING,
        "phase": STRING,
        "drills": STRING,
        "counted": BOOLEAN,
        "peak_order": STRING,
        "withheld_n": INT,
        "withheld": STRING,
    },
    "sessions": {
        "session_id": STRING,
        "player_id": STRING,
        "bay": STRING,
        "lesson_date": DAY,
        "duration_s": DOUBLE,
        "strap_pelvis": STRING,
        "strap_thorax": STRING,
        "strap_lead_arm": STRING,
        "swings": INT,
        "counted": INT,
    },
    "block_stats": {
        "session_id": STRING,
        "player_id": STRING,
        "started_utc": UTC,
        "block_no": INT,
        "block": STRING,
        "phase": STRING,
        "measure": STRING,
        "definition": STRING,
        "n": INT,
        "mean": DOUBLE,
        "variance": DOUBLE,
        "main": BOOLEAN,
    },
    "measures": {"measure": STRING, "value_column": STRING, "definition_column": STRING},
}
# The tables that lie in folders of a month each.
MONTHLY = ("swings", "sessions", "block_stats")


class Problem(Exception):
    """What is wrong and what to do, in one line."""


def missing(package: str) -> Problem:
    """A Python package is not installed."""
    return Problem(f"the Python package {package} is missing; install it with: pip install {package}")


@dataclass
class Table:
    """The files of one table, and the columns that any of them has."""

    name: str
    files: list[Path] = field(default_factory=list)
    rows: int = 0
    # An Arrow schema, without the month.
    schema: object = None
    # Whether the files differ in their columns.
    mixed: bool = False

    @property
    def monthly(self) -> bool:
        return self.name in MONTHLY


@dataclass
class Dataset:
    """A folder whose tables can be asked."""

    folder: Path
    tables: list[Table]
    # Measures with a column in swings: key, column of the value, column of its definition.
    measures: list[tuple[str, str, str]]
    # What does not stop a question but should be known.
    notes: list[str]


def open_dataset(folder: Path) -> Dataset:
    """Looks at every file's footer, none of its swings."""
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        raise missing("pyarrow") from None
    if not folder.is_dir():
        raise Problem(f"{folder}: no such folder; name a dataset that 'peakorder dataset add' wrote")
    if not any((folder / name).is_dir() for name in COLUMNS):
        raise Problem(f"{folder}: no dataset, it has no folder swings; name one that 'peakorder dataset add' wrote")
    tables = [_table(folder, name) for name in COLUMNS]
    by_name = {table.name: table for table in tables}
    measures = _measures(by_name["measures"], by_name["swings"])
    notes = []
    told = _each_session_once(folder, by_name["sessions"])
    if told != by_name["swings"].rows:
        notes.append(
            f"sessions tell of {told} swings, swings has {by_name['swings'].rows}: files are still being written or "
            "copied, or some are missing; ask again when they are there"
        )
    return Dataset(folder, tables, measures, notes)


def parquet_files(folder: Path) -> Iterator[Path]:
    """Whole files of a table. Names that begin with '.' or '_' are of files not finished, or of other programs."""
    for path in sorted(folder.rglob("*.parquet")):
        if not any(part[0] in "._" for part in path.relative_to(folder).parts) and path.is_file():
            yield path


def first_damaged(dataset: Dataset) -> str | None:
    """Reads every file to its end: which cannot be, and why."""
    import pyarrow.parquet as pq

    for path in (path for table in dataset.tables for path in table.files):
        try:
            for _ in pq.ParquetFile(path).iter_batches():
                pass
        except Exception as e:  # The kinds of error of a damaged file are many.
            return f"{path}: damaged ({_first_line(e)}); {_AGAIN}"
    return None


_AGAIN = "copy it again from the bay it came from, or move it out and add its sessions again"


def _table(folder: Path, name: str) -> Table:
    import pyarrow as pa

    table = Table(name)
    schemas: list[pa.Schema] = []
    for path in parquet_files(folder / name):
        if name in MONTHLY and not re.fullmatch(r"month=\d{4}-\d\d", path.parent.name):
            raise Problem(f"{path}: lies in no folder month=YYYY-MM; move it out of the dataset, or into its month")
        schema, rows = _footer(path, name)
        table.files.append(path)
        table.rows += rows
        if schema not in schemas:
            schemas.append(schema)
    if not table.files:
        raise Problem(f"{folder / name}: no .parquet file; add sessions with 'peakorder dataset add'")
    try:
        table.schema = pa.unify_schemas(schemas)
    except pa.ArrowInvalid as e:
        raise Problem(f"{folder / name}: files disagree on a column ({_first_line(e)}); {_AGAIN}") from None
    table.mixed = len(schemas) > 1
    return table


def _footer(path: Path, name: str) -> tuple[object, int]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        footer = pq.read_metadata(path)
        schema = footer.schema.to_arrow_schema().remove_metadata()
    except (pa.ArrowException, OSError) as e:
        raise Problem(f"{path}: no whole Parquet file ({_first_line(e)}); {_AGAIN}") from None
    said = (footer.metadata or {}).get(b"peakorder.schema", b"").decode(errors="replace")
    if not said:
        raise Problem(f"{path}: not of peakorder (no peakorder.schema in its footer); move it out of the dataset")
    if said != f"{SCHEMA}/{name}":
        raise Problem(
            f"{path}: holds {said}, these questions ask {SCHEMA}/{name}; use those of the version that wrote it, or "
            "write the dataset anew"
        )
    for column, kind in COLUMNS[name].items():
        _has(path, schema, column, kind)
    return schema, footer.num_rows


def _has(where: Path, schema: object, column: str, kind: str) -> None:
    at = schema.get_field_index(column)
    if at < 0 or str(schema.field(at).type) != kind:
        what = f"no column {column}" if at < 0 else f"column {column} is {schema.field(at).type}, not {kind}"
        raise Problem(f"{where}: {what}; move it out and add its sessions again")


def _measures(measures: Table, swings: Table) -> list[tuple[str, str, str]]:
    import pyarrow.parquet as pq

    if len(measures.files) > 1:
        raise Problem(f"{measures.files[1]}: a second table of measures; keep the newest only")
    rows = pq.read_table(measures.files[0], columns=list(COLUMNS["measures"])).to_pylist()
    found = []
    for row in rows:
        key, value, definition = (row[column] for column in COLUMNS["measures"])
        if value is None:
            continue
        for column, kind in ((value, DOUBLE), (definition, STRING)):
            # They are written into the SQL.
            if not re.fullmatch(r"[a-z][a-z0-9_]*", column or ""):
                raise Problem(f"{measures.files[0]}: {column!r} is no name of a column; write the dataset anew")
            _has(swings.files[0].parent.parent, swings.schema, column, kind)
        if not re.fullmatch(r"[a-z][a-z0-9_]*", key):
            raise Problem(f"{measures.files[0]}: {key!r} is no measure; write the dataset anew")
        found.append((key, value, definition))
    if not found:
        raise Problem(f"{measures.files[0]}: no measure; write the dataset anew")
    return found


def _each_session_once(folder: Path, sessions: Table) -> int:
    """How many swings the sessions tell of; no session twice, and none of a forgotten player."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    seen: dict[str, Path] = {}
    swings = 0
    for path in sessions.files:
        try:
            columns = pq.ParquetFile(path).read(columns=["session_id", "player_id", "swings"]).to_pydict()
        except (pa.ArrowException, OSError) as e:
            raise Problem(f"{path}: damaged ({_first_line(e)}); {_AGAIN}") from None
        swings += sum(n or 0 for n in columns["swings"])
        for session in columns["session_id"]:
            if session in seen:
                raise Problem(
                    f"{path}: session {session} stands in {seen[session]} too and would count twice; 'peakorder dataset "
                    "compact' keeps one of them"
                )
            seen[session] = path
        for player in set(columns["player_id"]):
            if (folder / "forgotten" / hashlib.sha256(player.encode()).hexdigest()).exists():
                raise Problem(
                    f"{path}: has a player that was forgotten, come back with a copy; 'peakorder dataset compact' removes it"
                )
    return swings


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".")
