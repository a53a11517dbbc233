#!/usr/bin/env bash
# Makes what is given to users: a Debian package, an archive with the same contents, and their checksums.
#
# usage: release.sh [--target TRIPLE] [--out DIR]
#
#   --target   x86_64-unknown-linux-gnu (this machine's, if left out) or aarch64-unknown-linux-gnu
#   --out      folder for the three files; target/package/out if left out
#
# The same commit gives the same bytes on the same compilers: every date is the commit's, files are sorted, and folders
# of this machine are not named in the programs. PEAKORDER_MAINTAINER goes into the Debian package as its maintainer.
#
# Needs cargo, git, python3, dpkg-dev, binutils, xz; for another target its cross compiler and a way to run its
# programs, which write their own manual:
#     rustup target add aarch64-unknown-linux-gnu
#     apt-get install gcc-aarch64-linux-gnu libc6-dev-arm64-cross qemu-user-static
# arm64 was last tried on Debian 12: made on x86-64, `peakorderd demo`, `peakorder verify` and the manual under
# qemu-aarch64-static 7.2; the swing files and the log are those of x86-64, byte for byte. Not tried on a real computer.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
cd "$top"

fail() { printf 'release.sh: %s\n' "$*" >&2; exit 1; }

triple=$(rustc -vV | sed -n 's/^host: //p')
out=
while [ $# -gt 0 ]; do
    case $1 in
        --target) triple=${2:?a target is missing}; shift 2 ;;
        --out) out=${2:?a folder is missing}; shift 2 ;;
        *) fail "unknown: $1; usage: release.sh [--target TRIPLE] [--out DIR]" ;;
    esac
done
case $triple in
    x86_64-unknown-linux-gnu) architecture=amd64 tools=x86_64-linux-gnu ;;
    aarch64-unknown-linux-gnu) architecture=arm64 tools=aarch64-linux-gnu ;;
    *) fail "no package is made for $triple; there are x86_64-unknown-linux-gnu and aarch64-unknown-linux-gnu" ;;
esac
cross=
[ "$(uname -m)" = "${triple%%-*}" ] || cross=yes
for tool in cargo git python3 dpkg-deb dpkg-shlibdeps xz "$tools-strip" ${cross:+"$tools-gcc" "$tools-objdump" "qemu-${triple%%-*}-static"}; do
    command -v "$tool" >/dev/null || fail "$tool is missing; see the first lines of this script for what to install"
done

# Everything is dated and named by the commit.
commit=$(git describe --always --dirty --exclude='*' --abbrev=10) || fail "this is no git checkout"
case $commit in *-dirty) echo "release.sh: there are changes that are not committed; the programs will say so ($commit)" >&2 ;; esac
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH LC_ALL=C TZ=UTC
umask 022
version=$(sed -n '/^\[workspace.package\]/,/^\[/s/^version = "\(.*\)"/\1/p' Cargo.toml)
features=peakorder-daemon/packaged,peakorder-analysis/packaged

# A folder of its own: other flags would have `cargo run --release` build everything again.
package_folder="${CARGO_TARGET_DIR:-$top/target}/package"
mkdir -p "$package_folder"
package_folder=$(cd "$package_folder" && pwd)
out=${out:-$package_folder/out}
mkdir -p "$out"
out=$(cd "$out" && pwd)

folders=("$top=/build/peakorder" "${CARGO_HOME:-$HOME/.cargo}=/build/cargo")
rust_flags= c_flags=
for folder in "${folders[@]}"; do
    rust_flags+=" --remap-path-prefix=$folder"
    c_flags+=" -ffile-prefix-map=$folder"
done
(
    export CARGO_TARGET_DIR=$package_folder CARGO_INCREMENTAL=0
    export RUSTFLAGS=$rust_flags CFLAGS=$c_flags PEAKORDER_COMMIT=$commit
    if [ -n "$cross" ]; then
        name=${triple//-/_}
        export "CC_$name=$tools-gcc" "AR_$name=$tools-ar" "CARGO_TARGET_${name^^}_LINKER=$tools-gcc"
    fi
    cargo build --quiet --locked --release --target "$triple" -p peakorder-daemon -p peakorder-analysis --features "$features"
)
programs=$package_folder/$triple/release

# The programs write their manual and completions themselves, a foreign one in an emulator.
run=()
[ -z "$cross" ] || run=("qemu-${triple%%-*}-static" -L "/usr/$tools")

stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
root=$stage/root
doc=$root/usr/share/doc/peakorder
mkdir -p "$root"/usr/share/{man/man1,zsh/vendor-completions,fish/vendor_completions.d,bash-completion/completions} "$doc"
for program in peakorderd peakorder; do
    mkdir -p "$root/usr/bin"
    "$tools-strip" --strip-unneeded --remove-section=.comment --remove-section=.note -o "$root/usr/bin/$program" "$programs/$program"
    chmod 755 "$root/usr/bin/$program"
    "${run[@]}" "$programs/$program" manual --into "$root/usr/share/man/man1"
    "${run[@]}" "$programs/$program" completions bash >"$root/usr/share/bash-completion/completions/$program"
    "${run[@]}" "$programs/$program" completions zsh >"$root/usr/share/zsh/vendor-completions/_$program"
    "${run[@]}" "$programs/$program" completions fish >"$root/usr/share/fish/vendor_completions.d/$program.fish"
done
gzip -9n "$root"/usr/share/man/man1/*.1

install -D -m 644 "$here/systemd/system.service" "$root/usr/lib/systemd/system/peakorderd.service"
install -D -m 644 "$here/systemd/user.service" "$root/usr/lib/systemd/user/peakorderd.service"
install -D -m 644 "$here/sysusers.conf" "$root/usr/lib/sysusers.d/peakorder.conf"
install -D -m 644 "$here/dbus-policy.conf" "$root/usr/share/dbus-1/system.d/peakorder.conf"

install -D -m 644 "$here/config.toml" "$doc/examples/config.toml"
install -m 644 README.md DEVELOPERS.md "$doc/"
cp -r --no-preserve=mode docs "$doc/docs"
gzip -9nc CHANGELOG.md >"$doc/changelog.gz"
install -m 644 "$here/debian/copyright" "$doc/copyright"
install -m 644 "$here/service.md" "$doc/service.md"
python3 "$here/contents.py" --target "$triple" --features "$features" --commit "$commit" \
    --sbom "$doc/sbom.cdx.json" --licences "$stage/licences.txt"
gzip -9nc "$stage/licences.txt" >"$doc/third-party-licences.txt.gz"

maintainer=${PEAKORDER_MAINTAINER:-peakorder authors <authors@peakorder.invalid>}
gzip -9nc >"$doc/changelog.Debian.gz" <<CHANGELOG
peakorder ($version-1) unstable; urgency=medium

  * Built from commit $commit; what is new is in changelog.gz.

 -- $maintainer  $(date -R -d "@$SOURCE_DATE_EPOCH")
CHANGELOG

# The archive: the same files under one folder.
name=peakorder-$version-$architecture
sorted_tar() { tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$SOURCE_DATE_EPOCH" --format=gnu "$@"; }
archive=$out/$name.tar.xz
sorted_tar -C "$root" --transform="s,^\.,$name," -cf - . | xz -6 -T1 >"$archive.part"
mv "$archive.part" "$archive"

# The package: control files beside the same tree.
mkdir -p "$root/DEBIAN" "$stage/debian"
for script in postinst prerm postrm; do
    install -m 755 "$here/debian/$script" "$root/DEBIAN/$script"
done
printf 'Source: peakorder\nPackage: peakorder\nArchitecture: any\n' >"$stage/debian/control"
if [ -z "$cross" ]; then
    depends=$(cd "$stage" && dpkg-shlibdeps -O -e"$root/usr/bin/peakorderd" -e"$root/usr/bin/peakorder" |
        sed -n 's/^shlibs:Depends=//p')
else
    # Its libraries are not installed here: what is needed is read off the programs.
    needed=$("$tools-objdump" -p "$root"/usr/bin/* | sed -n 's/^ *NEEDED *//p' | sort -u | tr '\n' ' ')
    case $needed in *[!\ ]*) ;; *) fail "the programs name no library" ;; esac
    for library in $needed; do
        case $library in
            libc.so.6 | libm.so.6 | ld-linux-*.so.*) ;;
            libgcc_s.so.1) unwinder=", libgcc-s1 (>= 4.2)" ;;
            *) fail "the programs need $library; say here which package has it" ;;
        esac
    done
    glibc=$("$tools-objdump" -T "$root"/usr/bin/* | grep -o 'GLIBC_[0-9.]*' | sort -Vu | tail -n 1)
    depends="libc6 (>= ${glibc#GLIBC_})${unwinder:-}"
fi
size=$(du --apparent-size -k -s "$root" | cut -f1)
sed -e "s/@VERSION@/$version/; s/@ARCHITECTURE@/$architecture/; s/@MAINTAINER@/$maintainer/; s/@SIZE@/$size/" \
    -e "s/@DEPENDS@/$depends/" "$here/debian/control.in" >"$root/DEBIAN/control"
(cd "$root" && find usr -type f | sort | xargs md5sum >DEBIAN/md5sums)
package=$out/peakorder_${version}_$architecture.deb
# dpkg-deb takes its dates from SOURCE_DATE_EPOCH.
find "$root" -exec touch --no-dereference --date="@$SOURCE_DATE_EPOCH" {} +
dpkg-deb --root-owner-group -Zxz -z6 --build "$root" "$package" >/dev/null

# Of every architecture that was made into this folder.
(cd "$out" && sha256sum "peakorder_${version}"_*.deb "peakorder-$version"-*.tar.xz >SHA256SUMS)
echo "$package"
echo "$archive"
