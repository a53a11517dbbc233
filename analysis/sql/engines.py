"""Three engines behind one face: bind tables to files, make a view, answer a question."""

from __future__ import annotations

import re
import socket
import tempfile
import time
import warnings
from pathlib import Path
from typing import Any, Protocol

from dataset import Problem, Table, missing

Answer = tuple[list[str], list[tuple[Any, ...]]]


class Engine(Protocol):
    def bind(self, table: Table) -> None: ...
    def view(self, name: str, select: str) -> None: ...
    def ask(self, select: str) -> Answer: ...
    def close(self) -> None: ...


def start(name: str, settings: dict[str, str]) -> Engine:
    """The engine of that name; `settings` are Spark's own."""
    if name.startswith(("spark://", "local")):
        return Spark(name, settings)
    if settings:
        raise Problem(f"--conf is for Spark, {name} takes none; leave it out")
    if name == "duckdb":
        return DuckDb()
    if name == "datafusion":
        return DataFusion()
    raise Problem(f"{name}: no such engine; name duckdb, datafusion, spark://HOST:PORT or local[2]")


class DuckDb:
    def __init__(self) -> None:
        try:
            import duckdb
        except ImportError:
            raise missing("duckdb") from None
        self.connection = duckdb.connect()

    def bind(self, table: Table) -> None:
        files = ", ".join("'" + str(path).replace("'", "''") + "'" for path in table.files)
        options = f"union_by_name = {str(table.mixed).lower()}"
        if table.monthly:
            options += ", hive_partitioning = true, hive_types = {'month': VARCHAR}"
        self.view(table.name, f"SELECT * FROM read_parquet([{files}], {options})")

    def view(self, name: str, select: str) -> None:
        self.connection.execute(f"CREATE VIEW {name} AS {select}")

    def ask(self, select: str) -> Answer:
        done = self.connection.execute(select)
        return [column[0] for column in done.description], done.fetchall()

    def close(self) -> None:
        self.connection.close()


class DataFusion:
    def __init__(self) -> None:
        try:
            import datafusion
        except ImportError:
            raise missing("datafusion") from None
        self.context = datafusion.SessionContext()
        self.links = tempfile.TemporaryDirectory(prefix="peakorder-")

    def bind(self, table: Table) -> None:
        import pyarrow as pa

        # It takes a folder, and every file in it: so one that holds links to the files that belong to the table.
        root = Path(self.links.name) / table.name
        for number, path in enumerate(table.files):
            folder = root / path.parent.name if table.monthly else root
            folder.mkdir(parents=True, exist_ok=True)
            (folder / f"{number}.parquet").symlink_to(path.resolve())
        month = [("month", pa.string())] if table.monthly else []
        self.context.register_listing_table(table.name, f"{root}/", month, ".parquet", table.schema)

    def view(self, name: str, select: str) -> None:
        self.context.sql(f"CREATE VIEW {name} AS {select}")

    def ask(self, select: str) -> Answer:
        done = self.context.sql(select).to_arrow_table()
        columns = [column.to_pylist() for column in done.columns]
        return done.column_names, list(zip(*columns, strict=True))

    def close(self) -> None:
        self.links.cleanup()


class Spark:
    """A cluster's master by its address, or this machine alone (`local[2]`)."""

    TYPES = {
        "string": "STRING",
        "int32": "INT",
        "int64": "BIGINT",
        "double": "DOUBLE",
        "bool": "BOOLEAN",
        "date32[day]": "DATE",
        "timestamp[us, tz=UTC]": "TIMESTAMP",
    }
    # A worker that is there registers within a few seconds.
    WORKER_WAIT_S = 60.0

    def __init__(self, master: str, settings: dict[str, str]) -> None:
        # It warns of pandas, which is not used here.
        warnings.filterwarnings("ignore", category=FutureWarning, module="pyspark")
        try:
            from pyspark.sql import SparkSession
        except ImportError:
            raise missing("pyspark") from None
        loopback = master.startswith("local")
        if master.startswith("spark://"):
            hosts = [host.rpartition(":") for host in master.removeprefix("spark://").split(",")]
            if not any(_answers(host, port) for host, _, port in hosts):
                raise Problem(f"no Spark master answers at {master}; start one with analysis/sql/cluster.sh start")
            loopback = all(host in ("127.0.0.1", "localhost") for host, _, _ in hosts)
        usual = {
            "spark.ui.enabled": "false",
            "spark.ui.showConsoleProgress": "false",
            "spark.log.level": "ERROR",
            "spark.sql.session.timeZone": "UTC",
            # Each costs a task; a lesson's table is small. A large cluster wants more: --conf.
            "spark.sql.shuffle.partitions": "8",
            "spark.executor.memory": "1g",
            "spark.driver.extraJavaOptions": f"-Dlog4j2.configurationFile={Path(__file__).with_name('log4j2.properties').resolve().as_uri()}",
        }
        if loopback:
            usual |= {"spark.driver.host": "127.0.0.1", "spark.driver.bindAddress": "127.0.0.1"}
        builder = SparkSession.builder.master(master).appName("peakorder")
        for key, value in (usual | settings).items():
            builder = builder.config(key, value)
        try:
            self.session = builder.getOrCreate()
        except Exception as e:
            if "JAVA" in str(e).upper():
                raise Problem(
                    "Spark needs Java 17 or later; install it (Debian: apt install openjdk-17-jre-headless)"
                ) from None
            raise
        if master.startswith("spark://"):
            self._wait_for_worker(master)

    def _wait_for_worker(self, master: str) -> None:
        context = self.session.sparkContext._jsc.sc()
        end = time.monotonic() + self.WORKER_WAIT_S
        # The program itself is in the list.
        while context.getExecutorMemoryStatus().size() < 2:
            if time.monotonic() > end:
                self.close()
                raise Problem(
                    f"no worker of {master} has a core and the memory asked for free; start workers, or ask for less "
                    "(--conf spark.executor.memory=512m)"
                )
            time.sleep(0.1)

    def bind(self, table: Table) -> None:
        fields = [f"`{column.name}` {self.TYPES[str(column.type)]}" for column in table.schema]
        reader = self.session.read
        if table.monthly:
            fields.append("`month` STRING")
            reader = reader.option("basePath", f"file:{table.files[0].parent.parent.resolve()}")
        # Paths are patterns to it.
        files = ["file:" + re.sub(r"([\\\[\]{}*?])", r"\\\1", str(path.resolve())) for path in table.files]
        reader.schema(", ".join(fields)).parquet(*files).createOrReplaceTempView(table.name)

    def view(self, name: str, select: str) -> None:
        self.session.sql(f"CREATE TEMPORARY VIEW {name} AS {select}")

    def ask(self, select: str) -> Answer:
        done = self.session.sql(select)
        return done.columns, [tuple(row) for row in done.collect()]

    def close(self) -> None:
        self.session.stop()


def _answers(host: str, port: str) -> bool:
    try:
        with socket.create_connection((host, int(port)), timeout=5):
            return True
    except (OSError, ValueError):
        return False
