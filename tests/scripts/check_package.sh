#!/usr/bin/env bash
# Tries a Debian package as a new user has it: in a bare Debian root with nothing else in it. Installs it with what it
# depends on, uses it as an ordinary user, removes it, installs it again, purges it.
#
# usage: check_package.sh DEB [PYTHON]    PYTHON: one with cyclonedx-python-lib[json-validation], to check the bill of
#                                         materials against the published schema; said when left out
#
# Needs root, mmdebstrap, man-db, systemd's tools, dbus-daemon and python3; looks at zsh's and fish's completions where they are installed.
set -euo pipefail
deb=$(realpath "$1")
python=${2:-}
here=$(cd "$(dirname "$0")" && pwd)
out=$(dirname "$deb")

say() { printf 'package: %s (%d s)\n' "$*" "$SECONDS"; }
fail() { printf 'package: %s\n' "$*" >&2; exit 1; }
[ "$(id -u)" = 0 ] || fail "this test makes a root of its own and needs to be root"
for tool in mmdebstrap man systemd-analyze systemd-sysusers dbus-daemon python3 dpkg-deb; do
    command -v "$tool" >/dev/null || fail "$tool is missing; on Debian: apt-get install mmdebstrap man-db systemd dbus-daemon python3 dpkg"
done

work=$(mktemp -d)
root=$work/root
server=
finish() {
    [ -z "$server" ] || { kill "$server" 2>/dev/null && wait "$server" || true; }
    ! mountpoint -q "$root/proc" || umount -l "$root/proc"
    rm -rf --one-file-system "$work"
}
trap finish EXIT

# --- What is in it -----------------------------------------------------------------------------------------------
(cd "$out" && sha256sum --check --quiet SHA256SUMS) || fail "SHA256SUMS does not agree with the files"
version=$(dpkg-deb --field "$deb" Version)
architecture=$(dpkg-deb --field "$deb" Architecture)
mkdir "$work/files" "$work/archive"
dpkg-deb --extract "$deb" "$work/files"
tar -C "$work/archive" --strip-components=1 -xf "$out/peakorder-${version%-*}-$architecture.tar.xz"
diff -r "$work/files" "$work/archive" || fail "package and archive hold different files"
! find "$work/files" \( -perm /022 -o -perm /6000 \) ! -type l -print | grep . || fail "these may be written by others, or run as another user"
! grep -rl "$(cd "$here/../.." && pwd)" "$work/files" || fail "these name the folder that they were built in"

units=$work/units
mkdir "$units"
for kind in system user; do
    mkdir "$units/$kind"
    unit=$units/$kind/peakorderd.service
    sed "s,^ExecStart=/usr,ExecStart=$work/files/usr," "$work/files/usr/lib/systemd/$kind/peakorderd.service" >"$unit"
    complaints=$(systemd-analyze verify --man=no "--$kind" "$unit" 2>&1 | grep -F "$unit" || true)
    complaints+=$(systemd-analyze verify --man=no "--$kind" "$unit" 2>&1 | grep -F 'peakorderd.service:' || true)
    [ -z "$complaints" ] || fail "systemd-analyze verify, $kind unit: $complaints"
done
# Tenths: 1.5 of 10, where 10 is a service with every right of root.
systemd-analyze security --offline=true --no-pager --threshold=15 "$units/system/peakorderd.service" >"$work/security" ||
    fail "the system unit is exposed more than 1.5: $(tail -n 1 "$work/security")"
mkdir -p "$work/users/etc"
systemd-sysusers --root="$work/users" "$work/files/usr/lib/sysusers.d/peakorder.conf"
grep -q '^peakorder:.*:/var/lib/peakorder:' "$work/users/etc/passwd" || fail "sysusers.d makes no user peakorder"
cat >"$work/bus.conf" <<BUS
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-BUS Bus Configuration 1.0//EN" "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><listen>unix:dir=$work</listen>
<include>$work/files/usr/share/dbus-1/system.d/peakorder.conf</include></busconfig>
BUS
# It ends by the signal, 124; a policy that is not understood ends it before with 1.
timeout 1 dbus-daemon --nofork --config-file="$work/bus.conf" 2>"$work/bus" && code=0 || code=$?
[ "$code" = 124 ] || fail "dbus-daemon does not take the policy: $(cat "$work/bus")"

sbom=$work/files/usr/share/doc/peakorder/sbom.cdx.json
if [ -n "$python" ]; then
    "$python" - "$sbom" <<'PYTHON' || fail "the bill of materials is not what CycloneDX describes"
import sys
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
text = open(sys.argv[1]).read()
problem = JsonStrictValidator(SchemaVersion.V1_5).validate_str(text)
sys.exit(f"{problem}" if problem else 0)
PYTHON
else
    echo "package: bill of materials NOT CHECKED against its schema, no PYTHON given"
fi
say "contents, units and policy are sound; $(tail -n 1 "$work/security" | tr -d '→' | xargs)"

# --- A bare root -------------------------------------------------------------------------------------------------
suite=$(. /etc/os-release && echo "$VERSION_CODENAME")
mmdebstrap --quiet --variant=apt "$suite" "$root" 2>"$work/bootstrap" || fail "no bare root: $(cat "$work/bootstrap")"
mount -t proc proc "$root/proc" 2>/dev/null || true
[ -e "$root/etc/resolv.conf" ] || cp /etc/resolv.conf "$root/etc/"
in_root() { chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8 "$@"; }
in_root useradd --create-home --shell /bin/bash coach
say "a bare $suite, $(du -sm --one-file-system "$root" | cut -f1) MB"

# Every file, but for what dpkg and apt note, and homes.
files() {
    (cd "$root" && find . -xdev \( -path ./proc -o -path ./home -o -path ./tmp -o -path ./run -o -path ./var/cache -o -path ./var/log \
        -o -path ./var/lib/dpkg -o -path ./var/lib/apt -o -name '*.deb' \) -prune -o -print | sort)
}
cp "$deb" "$root/peakorder.deb"
files >"$work/before"
grep -v '^peakorder:' "$root/etc/passwd" >"$work/passwd-before"

install_it() {
    in_root apt-get -qq -y -o DPkg::Use-Pty=0 install --no-install-recommends /peakorder.deb >"$work/apt" 2>&1 ||
        { cat "$work/apt"; fail "the package cannot be installed"; }
    [ "$(in_root dpkg-query -W -f='${db:Status-Status}' peakorder)" = installed ] || fail "not installed: $(cat "$work/apt")"
}
install_it
in_root getent passwd peakorder >/dev/null || fail "no user peakorder"
[ "$(stat -c '%U %a' "$root/etc/peakorder")" = "$(stat -c %U "$root/etc") 750" ] || fail "/etc/peakorder is not as it should be"
[ ! -e "$root/etc/systemd/system/multi-user.target.wants/peakorderd.service" ] || fail "the service is switched on by itself"
say "installed"

# --- As an ordinary user -----------------------------------------------------------------------------------------
as_coach() { chroot --userspec=coach:coach "$root" env -i HOME=/home/coach PATH=/usr/bin:/bin TERM=dumb LC_ALL=C.UTF-8 bash -euc "cd; $1"; }
as_coach 'peakorderd --version; peakorder --version'
as_coach 'peakorderd demo' >"$work/demo" || fail "peakorderd demo: $(cat "$work/demo")"
as_coach 'peakorder show demo-session' | grep -q baseline || fail "peakorder show does not show the blocks"
as_coach 'peakorder compare demo-session:baseline demo-session:after' >/dev/null || fail "peakorder compare"
as_coach 'peakorder report demo-session --out sheet.html && grep -q "</html>" sheet.html' >/dev/null || fail "peakorder report"
as_coach 'peakorder verify demo-session' >/dev/null || fail "peakorder verify"
as_coach 'peakorder export demo-session --into out && ls out/datapackage.json' >/dev/null || fail "peakorder export"
code=0; as_coach 'peakorder show nowhere' 2>"$work/said" || code=$?
[ "$code" = 1 ] && [ "$(wc -l <"$work/said")" = 1 ] || fail "a folder that is missing should end with 1 and one line: $code, $(cat "$work/said")"
code=0; as_coach 'peakorder nonsense' 2>/dev/null || code=$?
[ "$code" = 2 ] || fail "an unknown command should end with 2, ended with $code"

# A process of its own group, so that the server itself is the one that is ended.
chroot --userspec=coach:coach "$root" env -i HOME=/home/coach PATH=/usr/bin:/bin \
    peakorderd serve --virtual --listen 127.0.0.1:0 >"$work/greeting" 2>"$work/errors" &
server=$!
for _ in $(seq 100); do grep -q '^http' "$work/greeting" && break; sleep 0.1; done
address=$(grep -om1 '^http[^ ]*' "$work/greeting") || fail "peakorderd serve does not answer: $(cat "$work/errors")"
python3 - "${address%/}" "$here/../../daemon/page" <<'PYTHON' || fail "the page is not served as it should be"
import json, pathlib, sys, urllib.request
address, page = sys.argv[1:]
get = lambda path: urllib.request.urlopen(address + path, timeout=10).read()
assert b"<html" in get("/") and b"modulepreload" in get("/"), "/ is not the page"
# What is embedded is what lies in the checkout, none left out.
for file in sorted(pathlib.Path(page).glob("js/*.js")):
    assert get(f"/js/{file.name}") == file.read_bytes(), f"{file.name} is not the page's"
state = json.loads(get("/api/v1/state"))
assert isinstance(state, dict) and state, "the state says nothing"
PYTHON
kill -INT "$server"; wait "$server" || fail "peakorderd serve did not end well"
server=
say "demo, show, compare, report, verify, export and serve work for an ordinary user"

# --- Manual and completions --------------------------------------------------------------------------------------
for program in peakorderd peakorder; do
    where=$(man -M "$root/usr/share/man" -w "$program") || fail "no man page of $program"
    [ "$where" = "$root/usr/share/man/man1/$program.1.gz" ] || fail "man finds $where"
done
for page in "$root"/usr/share/man/man1/peakorder*.1.gz; do
    complaints=$(LC_ALL=C.UTF-8 MANWIDTH=80 man --warnings -l "$page" 2>&1 >"$work/page")
    [ -z "$complaints" ] || fail "$page: $complaints"
    grep -q 'EXIT STATUS' "$work/page" || fail "$page does not say what an exit status means"
done
# Every command has a page.
as_coach 'peakorderd --help; echo; peakorder --help' >/dev/null
for program in peakorderd peakorder; do
    for command in $(as_coach "$program --help" | sed -n '/^Commands:/,/^Options:/s/^  \([a-z]*\) .*/\1/p'); do
        [ "$command" = help ] || [ -f "$root/usr/share/man/man1/$program-$command.1.gz" ] || fail "$program $command has no page"
    done
    completed=$(as_coach "source /usr/share/bash-completion/completions/$program
        COMP_WORDS=($program ''); COMP_CWORD=1; _$program $program '' $program; echo \"\${COMPREPLY[*]}\"")
    case " $completed " in *" manual "*) ;; *) fail "bash completes $program with: $completed" ;; esac
    if command -v zsh >/dev/null; then
        zsh -fc "fpath=($root/usr/share/zsh/vendor-completions \$fpath); autoload -Uz compinit; compinit -u -D;
            (( \$+_comps[$program] )) && autoload +X _$program" || fail "zsh does not take the completions of $program"
    else echo "package: zsh's completions NOT CHECKED, no zsh"; fi
    if command -v fish >/dev/null; then
        HOME=$work fish --no-config -c "source $root/usr/share/fish/vendor_completions.d/$program.fish; complete -C '$program '" |
            grep -q '^manual' || fail "fish does not complete $program"
    else echo "package: fish's completions NOT CHECKED, no fish"; fi
done
say "manual and completions work"

# --- Away, again, and away for good ------------------------------------------------------------------------------
mkdir -p "$root/var/lib/peakorder/sessions/kept"
echo '# a bay' >"$root/etc/peakorder/config.toml"
in_root apt-get -qq -y -o DPkg::Use-Pty=0 remove peakorder >"$work/apt" 2>&1 || { cat "$work/apt"; fail "the package cannot be removed"; }
printf '%s\n' ./etc/peakorder ./etc/peakorder/config.toml ./var/lib/peakorder ./var/lib/peakorder/sessions \
    ./var/lib/peakorder/sessions/kept | sort >"$work/kept"
files | comm -13 "$work/before" - | diff "$work/kept" - || fail "removing leaves more or less than what was recorded"
install_it
[ -d "$root/var/lib/peakorder/sessions/kept" ] && grep -q 'a bay' "$root/etc/peakorder/config.toml" || fail "installing again loses what was kept"
in_root apt-get -qq -y -o DPkg::Use-Pty=0 purge peakorder >"$work/apt" 2>&1 || { cat "$work/apt"; fail "the package cannot be purged"; }
files | diff "$work/before" - || fail "purging does not leave the root as it was"
diff "$work/passwd-before" "$root/etc/passwd" || fail "purging leaves the user peakorder"
[ -f "$root/home/coach/demo-session/session.toml" ] || fail "purging took what lies in a home"
say "removed with the recordings kept, installed again, purged without rest"
