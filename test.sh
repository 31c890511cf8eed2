#!/usr/bin/env bash
# Everything that must hold before a change lands, cheapest first. This is what CI runs.
#
# Needs Rust (1.92 or later) and Python 3.11 or later. On Debian, run as root, it installs what else it needs:
#   build-essential    a C compiler: SQLite is built from its source, and Rust uses the linker
#   python3-venv       the outside cross-checks run in an environment of their own, .venv
#   poppler-utils qpdf  the PDF report is read back by them (in tests and in outside/write_up.py)
#   ffmpeg             the video of a write-up is read back by it (outside/write_up.py)
#   hydrogen-drumkits  real recordings for the outside checks and the work page (sounds only)
#   chromium           the browser in which the work page is tested
#   nodejs, npm        what drives it (Node 20 or later)
# Elsewhere install the like by hand; without the recordings that one check says so and fails.
set -euo pipefail
cd "$(dirname "$0")"

step() { printf '\n== %s (%d s)\n' "$1" "$SECONDS"; }

step "packages"
missing=()
for package in build-essential python3-venv poppler-utils qpdf ffmpeg hydrogen-drumkits chromium nodejs npm; do
    # Node may come from elsewhere than the distribution.
    case "$package" in nodejs) command -v node >/dev/null && continue ;; npm) command -v npm >/dev/null && continue ;; esac
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
done
if [ "${#missing[@]}" -gt 0 ]; then
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
        echo "please install: ${missing[*]}" >&2
        exit 2
    fi
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi

step "format"
cargo fmt --all -- --check

step "tidy"
cargo xtask tidy

step "clippy"
cargo clippy --workspace --all-targets --locked -- -D warnings
# The fuzz targets are a workspace of their own; that they still fit is seen here, they are run by fuzz/run.sh.
cargo clippy --manifest-path fuzz/Cargo.toml --locked --target-dir "${CARGO_TARGET_DIR:-target}/fuzz" -- -D warnings

step "tests"
cargo test --workspace --locked

step "documents"
RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --locked

step "program"
cargo build --release --locked --package fairtake --package fairtake-files --package fairtake-report \
    --package fairtake-stats --package fairtake-calibrated --bin fairtake --example floor --example pdf --example words \
    --example listening_values --example measured --example level_values

step "outside cross-checks"
[ -x .venv/bin/python ] || python3 -m venv .venv
.venv/bin/pip install --quiet --disable-pip-version-check -r outside/requirements.txt
.venv/bin/python outside/check.py "${CARGO_TARGET_DIR:-target}/release/fairtake"
.venv/bin/python outside/bridge.py "${CARGO_TARGET_DIR:-target}/release/fairtake"
.venv/bin/python outside/calibrated.py "${CARGO_TARGET_DIR:-target}/release/fairtake"
.venv/bin/python outside/levels.py "${CARGO_TARGET_DIR:-target}/release/examples/level_values"
.venv/bin/python outside/words.py "${CARGO_TARGET_DIR:-target}/release/examples/words"
.venv/bin/python outside/write_up.py "${CARGO_TARGET_DIR:-target}/release/fairtake"
.venv/bin/python outside/listening.py "${CARGO_TARGET_DIR:-target}/release/examples/listening_values"

step "work page: packages and scripts"
(cd page-tests && npm ci --no-audit --no-fund --silent && npm run --silent check)

step "work page in the browser"
node page-tests/run.js "${CARGO_TARGET_DIR:-target}/release/fairtake"

step "bench, once"
.venv/bin/python outside/bench.py "${CARGO_TARGET_DIR:-target}/release/fairtake" --short

step "done"
