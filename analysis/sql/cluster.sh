#!/usr/bin/env bash
# A small Spark cluster on this machine, from pip's pyspark: one master and two workers, each a process of
# its own, on 127.0.0.1 only.
#
#   cluster.sh start     says the address to ask
#   cluster.sh stop
#
# PEAKORDER_PYTHON   a python3 that has pyspark (python3)
# CLUSTER_PORT       the master's port (7077)
# CLUSTER_WORKERS    how many workers (2), CLUSTER_CORES cores of each (1), CLUSTER_MEMORY memory (1g)
# CLUSTER_FOLDER     logs and process ids (/tmp/peakorder-cluster-PORT)
#
# Spark asks nobody for a password unless told to (spark.authenticate): loopback, or a network you trust.
set -euo pipefail

python=${PEAKORDER_PYTHON:-python3}
port=${CLUSTER_PORT:-7077}
folder=${CLUSTER_FOLDER:-${TMPDIR:-/tmp}/peakorder-cluster-$port}
address="spark://127.0.0.1:$port"

fail() {
    echo "cluster.sh: $*" >&2
    exit 2
}

# Only what this script started, and only if it still is that.
stop() {
    local file pid
    for file in "$folder"/*.pid; do
        [ -f "$file" ] || continue
        pid=$(<"$file")
        if tr '\0' ' ' 2>/dev/null <"/proc/$pid/cmdline" | grep -q "org.apache.spark.deploy"; then
            kill "$pid" 2>/dev/null || true
            for _ in $(seq 50); do
                kill -0 "$pid" 2>/dev/null || break
                sleep 0.1
            done
        fi
        rm -f "$file"
    done
}

# launch NAME CLASS ARGUMENTS…
launch() {
    SPARK_LOCAL_IP=127.0.0.1 SPARK_NO_DAEMONIZE=1 SPARK_DAEMON_MEMORY=${CLUSTER_DAEMON_MEMORY:-256m} \
        SPARK_DAEMON_JAVA_OPTS="-Dspark.master.rest.enabled=false -Dspark.ui.enabled=false -Dspark.master.ui.port=0" \
        setsid "$home/bin/spark-class" "org.apache.spark.deploy.$2" "${@:3}" </dev/null >"$folder/$1.log" 2>&1 &
    echo $! >"$folder/$1.pid"
}

# wait_for NAME TEXT: its log says so.
wait_for() {
    for _ in $(seq 300); do
        grep -q "$2" "$folder/$1.log" && return
        kill -0 "$(<"$folder/$1.pid")" 2>/dev/null || break
        sleep 0.1
    done
    stop
    fail "$1 did not start; see $folder/$1.log (is port $port taken? name another: CLUSTER_PORT=7078)"
}

case ${1:-} in
start)
    command -v java >/dev/null || fail "Spark needs Java 17 or later; install it (Debian: apt install openjdk-17-jre-headless)"
    home=$("$python" -c 'import pathlib, pyspark; print(pathlib.Path(pyspark.__file__).parent)' 2>/dev/null) ||
        fail "$python has no pyspark; install it with: pip install pyspark"
    mkdir -p "$folder"
    for file in "$folder"/*.pid; do
        [ ! -f "$file" ] || fail "a cluster of $folder is running or was not stopped; run: cluster.sh stop"
    done
    launch master master.Master --host 127.0.0.1 --port "$port" --webui-port 0
    wait_for master "Starting Spark master at $address"
    for n in $(seq "${CLUSTER_WORKERS:-2}"); do
        launch "worker-$n" worker.Worker --host 127.0.0.1 --webui-port 0 --cores "${CLUSTER_CORES:-1}" \
            --memory "${CLUSTER_MEMORY:-1g}" --work-dir "$folder/work-$n" "$address"
    done
    for n in $(seq "${CLUSTER_WORKERS:-2}"); do
        wait_for "worker-$n" "Successfully registered with master"
    done
    echo "$address"
    ;;
stop)
    stop
    rm -rf "$folder"
    ;;
*)
    fail "say start or stop"
    ;;
esac
