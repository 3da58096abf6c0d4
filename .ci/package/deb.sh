#!/usr/bin/env bash
# Makes a Debian package of a built program: deb.sh WARPWISE ROOT OUT
# With the completions and man pages that the program makes itself, and the licences of all that is built in.
set -euo pipefail
warpwise="$(realpath "$1")" root="$(realpath "$2")" out="$(realpath -m "$3")"
here="$(cd "$(dirname "$0")" && pwd)"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT

version="$("$warpwise" -V | cut -d' ' -f2)"
arch="$(dpkg --print-architecture)"
tree="$work/warpwise"
share="$tree/usr/share"
mkdir -p "$tree/usr/bin" "$tree/DEBIAN" "$share/doc/warpwise" "$share/man/man1" \
    "$share/bash-completion/completions" "$share/zsh/vendor-completions" "$share/fish/vendor_completions.d"
install -m 755 "$warpwise" "$tree/usr/bin/warpwise"
"$warpwise" completions bash > "$share/bash-completion/completions/warpwise"
"$warpwise" completions zsh > "$share/zsh/vendor-completions/_warpwise"
"$warpwise" completions fish > "$share/fish/vendor_completions.d/warpwise.fish"
"$warpwise" man "$work/man" > /dev/null
for page in "$work"/man/*.1; do gzip -9n < "$page" > "$share/man/man1/$(basename "$page").gz"; done
cp "$root/README.md" "$root/CHANGELOG.md" "$share/doc/warpwise/"
cat "$root/LICENSE-MIT" <(echo) "$root/LICENSE-APACHE" > "$share/doc/warpwise/copyright"
python3 "$here/../reference/check_licences.py" "$root" "$share/doc/warpwise/built-in.txt" > /dev/null
cat > "$tree/DEBIAN/control" <<CONTROL
Package: warpwise
Version: $version
Architecture: $arch
Maintainer: the warpwise workshop <warpwise@localhost>
Depends: libc6 (>= 2.34)
Section: science
Priority: optional
Installed-Size: $(du -sk "$tree/usr" | cut -f1)
Description: Cut plans for hand lay-up
 Taped ply outlines at true size become verified layouts on the roll, cut
 sheets, a lay-up sheet, and a ledger of rolls and offcuts.
CONTROL
# The same bytes from the same program, whenever it is packed.
find "$tree" -exec touch -d @1767225600 {} +
export SOURCE_DATE_EPOCH=1767225600
dpkg-deb --root-owner-group --build "$tree" "$out" > /dev/null
echo "$out: $(stat -c %s "$out") bytes"
