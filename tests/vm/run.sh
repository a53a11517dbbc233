#!/usr/bin/env bash
# Boots a small virtual machine with the real kernel's and BlueZ's Bluetooth, lets three
# simulated straps play an invented lesson to the built peakorderd in it, and holds the
# recorded session against the truth. See tests/vm/README.md.
set -euo pipefail
cd "$(dirname "$0")/../.."

target=${CARGO_TARGET_DIR:-target}
mkdir -p "$target/vm"
work=$(cd "$target/vm" && pwd)
# An idle computer needs about a tenth of these; a machine that hangs must not hang the caller.
up_s=180
whole_s=600

say() { printf 'vm: %s\n' "$*"; }
fail() { printf 'vm: %s\n' "$*" >&2; exit 1; }

[ "$(uname -sm)" = "Linux x86_64" ] || fail "this test needs Linux on x86-64; this is $(uname -sm)"
[ "$(id -u)" = 0 ] || fail "this test unpacks a small system and needs to be root; run it as root, or in a container"
missing=()
need() { command -v "$1" >/dev/null || missing+=("$2"); }
need qemu-system-x86_64 qemu-system-x86
need cpio cpio
need xz xz-utils
need depmod kmod
need apt-get apt
need strip binutils
if [ "${#missing[@]}" -gt 0 ]; then
    fail "missing: ${missing[*]}. On Debian: apt-get install --no-install-recommends ${missing[*]}"
fi

tests/vm/image.sh "$work"

say "building the programs"
# The very build of the tests: what they have built is used again.
cargo test --quiet --workspace --no-run
programs="$(cd "$target/debug" && pwd)"

# The programs bring the libraries and the loader that they were built for.
lesson=$work/lesson
rm -rf "$lesson"
mkdir -p "$lesson/peakorder/lib"
for program in peakorderd strap_vm; do
    strip -o "$lesson/peakorder/$program" "$programs/$program"
    ldd "$programs/$program" | grep -o '/[^ ]*' | while read -r library; do
        cp -L "$library" "$lesson/peakorder/lib/"
    done
done
"$programs/strap_vm" script "$lesson/peakorder/script.log" "$lesson/peakorder/config.toml"
(cd "$lesson" && find . | cpio -o -H newc --quiet | gzip -1) > "$work/lesson.cpio.gz"
cat "$work/base.cpio.gz" "$work/lesson.cpio.gz" > "$work/initrd"

# Boots once. 0: it ran to its end; 1: it came up and did not end; 2: it never came up.
boot() {
    rm -rf "$work/back" "$work/back.tar.gz" "$work/console.log"
    mkdir -p "$work/back"
    : > "$work/console.log"
    local started pid
    started=$SECONDS
    # The machine's time is counted in its own instructions, and idle time is skipped: how
    # busy the host is changes how long the test takes, and not what happens in it.
    qemu-system-x86_64 -accel tcg,tb-size=512 -icount shift=0,sleep=off -rtc clock=vm \
        -machine q35 -cpu max -smp 1 -m 1024 \
        -nodefaults -no-user-config -display none -no-reboot \
        -serial "file:$work/console.log" -serial "file:$work/back.tar.gz" \
        -kernel "$work/vmlinuz" -initrd "$work/initrd" \
        -append "console=ttyS0 quiet panic=-1 mitigations=off no_timer_check random.trust_cpu=on" \
        </dev/null &
    pid=$!
    trap 'kill "$pid" 2>/dev/null || true' EXIT
    while kill -0 "$pid" 2>/dev/null; do
        if ! grep -q '^VM UP' "$work/console.log" && [ $((SECONDS - started)) -gt $up_s ] ||
            [ $((SECONDS - started)) -gt $whole_s ]; then
            kill "$pid"
        fi
        sleep 0.5
    done
    wait "$pid" || true
    trap - EXIT
    say "the machine ran for $((SECONDS - started)) s"
    grep -q '^VM UP' "$work/console.log" || return 2
    grep -q '^VM DONE' "$work/console.log" || return 1
    tar -xzf "$work/back.tar.gz" -C "$work/back" || return 1
}

evidence() {
    {
        echo "vm: the last lines of the machine's console:"
        tail -n 25 "$work/console.log"
        for log in air run.err bluetoothd; do
            if [ -f "$work/back/$log.log" ]; then
                echo "vm: the last lines of $log:"
                tail -n 25 "$work/back/$log.log"
            fi
        done
        echo "vm: everything is kept in $work/back; the trace of the controller: btmon -r $work/back/hci.btsnoop"
    } >&2
}

say "booting"
ended=0
boot || ended=$?
if [ "$ended" = 2 ]; then
    evidence
    say "the machine never came up; trying once more"
    ended=0
    boot || ended=$?
fi
if [ "$ended" != 0 ]; then
    evidence
    fail "the machine $([ "$ended" = 2 ] && echo "never came up" || echo "did not reach its end")"
fi
if ! "$programs/strap_vm" check "$work/back/session" "$work/back/played.log"; then
    evidence
    fail "the session is not what was played; see above"
fi
say "passed"
