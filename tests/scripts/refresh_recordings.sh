#!/usr/bin/env bash
# Computes the committed recordings' swing files again after the measuring code changed.
set -euo pipefail
cd "$(dirname "$0")/../.."
for session in recordings/*/; do
    cargo run --release --quiet -p peakorder-daemon -- replay "${session%/}"
done
