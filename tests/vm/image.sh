#!/usr/bin/env bash
# Makes vmlinuz and base.cpio.gz (the small system) in the folder given, from packages of
# this machine's own package sources. None of them is installed. Kept until a day has passed.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
work=$1
image=$work/base.cpio.gz
if [ -f "$image" ] && [ -z "$(find "$image" -mmin +1440)" ] && [ -z "$(find "$here" -newer "$image" -name 'i[mn]*')" ]; then
    exit 0
fi

echo "vm: fetching the kernel and BlueZ"
apt=$work/apt
mkdir -p "$apt/archives/partial"
# An empty record of what is installed, so that every package that is needed is fetched.
: > "$apt/status"
fetch() {
    apt-get -y -qq -o Dir::State::status="$apt/status" -o Dir::Cache::archives="$apt/archives" \
        -o APT::Install-Recommends=false -o APT::Sandbox::User=root -o Debug::NoLocking=true \
        --download-only install bluez dbus-daemon busybox-static kmod linux-image-amd64 >/dev/null
}
rm -f "$apt"/archives/*.deb
fetch || { apt-get update -qq && fetch; } || {
    echo "vm: the packages bluez, dbus-daemon, busybox-static and linux-image-amd64 cannot be fetched" >&2
    exit 1
}

root=$work/root
rm -rf "$root"
mkdir -p "$root"/usr/{bin,sbin,lib,lib64}
for d in bin sbin lib lib64; do ln -s "usr/$d" "$root/$d"; done
unpack() { dpkg-deb --fsys-tarfile "$1" | tar -x --keep-directory-symlink -C "$root" "${@:2}"; }
for package in "$apt"/archives/*.deb; do
    case ${package##*/} in
        linux-image-[0-9]*)
            unpack "$package" --wildcards './boot/vmlinuz-*' '*/modules.*' '*/kernel/net/bluetooth/*' \
                '*/kernel/net/rfkill/*' '*/kernel/drivers/bluetooth/*' '*/kernel/crypto/*' \
                '*/kernel/lib/*' '*/kernel/arch/x86/crypto/*'
            ;;
        bluez_* | dbus-daemon_* | busybox-static_* | lib* | zlib1g_* | gcc-*-base_*) unpack "$package" ;;
    esac
done
find "$root/usr/lib/modules" -name '*.ko.xz' -exec xz -d {} +
kernel=$(basename "$root"/usr/lib/modules/*)
depmod -b "$root" "$kernel"

system=$work/system
rm -rf "$system"
mkdir -p "$system"/{proc,sys,dev,run,tmp,modules,etc/bluetooth,var/lib/bluetooth,usr/bin,usr/sbin,usr/lib,usr/lib64}
for d in bin sbin lib lib64; do ln -s "usr/$d" "$system/$d"; done
find_in_root() { (cd "$root" && find usr -path "*$1" -type f | head -n 1); }
bluetoothd=$(find_in_root /bluetoothd)
# busybox is static: it needs no libraries.
cp "$root/usr/bin/busybox" "$system/usr/bin/"
for program in usr/bin/dbus-daemon usr/bin/bluetoothctl "$bluetoothd"; do
    mkdir -p "$system/$(dirname "$program")"
    cp "$root/$program" "$system/$program"
    chroot "$root" /lib64/ld-linux-x86-64.so.2 --list "/$program" | grep -o '/[^ ]*\.so[^ ]*' |
        while read -r library; do
            mkdir -p "$system/$(dirname "$library")"
            cp -L "$root$library" "$system$library"
        done
done
echo "/$bluetoothd" > "$system/etc/bluetoothd"

# Modules with what they need, in the order in which they are loaded.
for module in bluetooth hci_vhci algif_hash algif_skcipher cmac ecb aes_generic; do
    modprobe -d "$root" -S "$kernel" --show-depends "$module" 2>/dev/null || true
done | awk '$1 == "insmod" && !seen[$2]++ { print $2 }' | while read -r module; do
    cp "$module" "$system/modules/"
    echo "/modules/${module##*/}"
done > "$system/etc/modules"
grep -q hci_vhci "$system/etc/modules" || { echo "vm: the kernel's package has no module hci_vhci" >&2; exit 1; }

printf 'root:x:0:0:root:/:/bin/sh\nmessagebus:x:100:100::/:/bin/false\n' > "$system/etc/passwd"
printf 'root:x:0:\nmessagebus:x:100:\nbluetooth:x:101:\n' > "$system/etc/group"
cat > "$system/etc/bus.conf" <<'CONF'
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path=/run/dbus/system_bus_socket</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
  </policy>
</busconfig>
CONF
printf '[General]\nControllerMode = le\n[Policy]\nAutoEnable = true\n' > "$system/etc/bluetooth/main.conf"
install -m 755 "$here/init" "$system/init"
cp "$root"/boot/vmlinuz-* "$work/vmlinuz"
(cd "$system" && find . | cpio -o -H newc --quiet | gzip -1) > "$image.part"
mv "$image.part" "$image"
versions=$(cd "$apt/archives" && ls | sed -n 's/^\(bluez\|linux-image-[0-9]\)\([^_]*\)_\([^_]*\)_.*/\1\2 \3/p' | tr '\n' ' ')
echo "vm: $versions"
rm -rf "$root"
