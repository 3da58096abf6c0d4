#!/usr/bin/env bash
# Installs a package into a root of its own, runs the demo from there, and removes it: check_deb.sh PACKAGE
set -euo pipefail
package="$(realpath "$1")"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
root="$work/root"
mkdir -p "$root/var/lib/dpkg/info" "$root/var/lib/dpkg/updates" "$root/var/lib/dpkg/triggers" "$root/var/log"
: > "$root/var/lib/dpkg/status"
: > "$root/var/lib/dpkg/available"
files() { (cd "$root" && find . -path ./var -prune -o \( -type f -o -type l \) -print | sort); }
# A root without anything has no C library of its own: the one of this machine serves.
as() { dpkg --root="$root" --force-depends --force-not-root --force-script-chrootless --log=/dev/null "$@" > /dev/null 2> "$work/said" || { cat "$work/said"; exit 1; }; }
as --install "$package"
"$root/usr/bin/warpwise" demo "$work/demo" --seconds 2 --quiet > "$work/out"
test -s "$work/demo/plan/report.html"
test "$(files | wc -l)" -gt 20
bash -n "$root/usr/share/bash-completion/completions/warpwise"
for page in "$root"/usr/share/man/man1/*.gz; do gzip -t "$page"; done
count="$(files | wc -l)"
as --remove warpwise
as --purge warpwise
left="$(files)"
test -z "$left" || { echo "left behind: $left"; exit 1; }
echo "installed $count files, ran the demo, removed all"
