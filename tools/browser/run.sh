#!/bin/sh
# In headless Chromium: the offline guide of every demo machine, 500 random calls each against the program's own answers,
# and the way through its screens; then the pages. `run.sh FOLDER` keeps pictures of each screen. CALLS and SEED choose
# other calls.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
cd "$here/../.."
browser=${CHROMIUM:-/usr/bin/chromium}
if [ ! -x "$browser" ] || ! command -v node >/dev/null 2>&1 || ! command -v npm >/dev/null 2>&1; then
    echo "Chromium, node or npm is not here: guide and pages are not tried in a browser" >&2
    exit 0
fi
# playwright-core needs node 20 or later.
if [ "$(node -p 'process.versions.node.split(".")[0]')" -lt 20 ]; then
    echo "node is older than 20: guide and pages are not tried in a browser" >&2
    exit 0
fi
if ! (cd "$here" && npm ci --no-audit --no-fund); then
    echo "npm packages can't be had: guide and pages are not tried in a browser" >&2
    exit 0
fi
target=${CARGO_TARGET_DIR:-target}
made=$target/guide
# What is worked out is kept there, not in the folder of whoever runs this.
XDG_CACHE_HOME=$(pwd)/$target/caches
case $target in /*) XDG_CACHE_HOME=$target/caches ;; esac
export XDG_CACHE_HOME
rm -rf "$made"
# The whole workspace is named so that libraries compiled for its tests are not compiled anew with other features.
cargo build -q --locked --workspace --bins --example guide_answers
for machine in minimal jar-filler parts-washer lidding-line; do
    "$target/debug/examples/guide_answers" "demos/$machine.toml" "${CALLS:-500}" "${SEED:-1}" "$made"
done
"$target/debug/lampwise" guide "$here/pictured.toml" --output "$made/pictured.html"
CHROMIUM=$browser node "$here/guide.mjs" "$made" "$@"
CHROMIUM=$browser node "$here/pages.mjs" "$target/debug/lampwise" "$@"
