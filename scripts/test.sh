#!/bin/sh
# Every test: the crates with their documents' examples, then the checks of the data.
set -eu
cd "$(dirname "$0")/.."
cargo test --workspace --locked
if command -v python3 >/dev/null 2>&1; then
    python3 tools/test_check_library.py
    python3 tools/check_library.py
fi
