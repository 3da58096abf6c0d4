#!/usr/bin/env bash
# Builds the program so that its bytes do not tell where: build.sh [CARGO_ARGUMENT…]
# Two builds by one compiler from equal sources are equal, whatever their folders.
set -euo pipefail
root="$(cd "$(dirname "$0")/../.." && pwd)"
cargo_home="${CARGO_HOME:-$HOME/.cargo}"
export RUSTFLAGS="--remap-path-prefix=$root=/warpwise --remap-path-prefix=$cargo_home=/cargo"
cd "$root"
cargo build --release --locked "$@"
sha256sum "${CARGO_TARGET_DIR:-target}/release/warpwise"
