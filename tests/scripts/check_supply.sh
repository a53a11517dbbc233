#!/usr/bin/env bash
# What comes into the programs: licences, sources and second versions of crates by .ci/deny.toml, known
# vulnerabilities where the database can be had, and dependencies that nothing uses. And that every crate can be packed.
#
# usage: check_supply.sh FOLDER    with cargo-deny and cargo-machete in FOLDER/bin
set -euo pipefail
tools=$(realpath "$1")/bin
cd "$(dirname "$0")/../.."

deny() { "$tools/cargo-deny" --config .ci/deny.toml --all-features "${@:1}"; }

deny --offline check --hide-inclusion-graph licenses bans sources

# The database is a repository of its own. A computer that cannot reach it says so, and passes.
database=https://github.com/RustSec/advisory-db
if GIT_TERMINAL_PROMPT=0 timeout 60 git ls-remote --quiet "$database" HEAD >/dev/null 2>&1; then
    deny check --hide-inclusion-graph advisories
else
    echo "advisories: NOT CHECKED, $database cannot be reached from here"
fi

"$tools/cargo-machete" --skip-target-dir .

# Packed, not built: that takes six minutes of a core and belongs to a release (DEVELOPERS.md).
packed=$(mktemp -d)
trap 'rm -rf "$packed"' EXIT
cargo package --quiet --locked --workspace --exclude peakorder-tests --no-verify --allow-dirty --target-dir "$packed"
crates=("$packed"/package/*.crate)
for crate in "${crates[@]}"; do
    files=$(tar -tzf "$crate")
    for file in Cargo.toml LICENSE README.md src/lib.rs; do
        grep -q "^[^/]*/$file\$" <<<"$files" || { echo "$(basename "$crate") is without $file" >&2; exit 1; }
    done
done
echo "crates: ${#crates[@]} packed, each with its licence and README"
