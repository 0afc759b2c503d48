#!/bin/sh
# Browser tests of the report pages. Needs Node 20 or later and a Chromium (CHROMIUM names it, /usr/bin/chromium
# otherwise). The pages are written by the sample_reports example unless REPORT_PAGES names a folder of them.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
chromium=${CHROMIUM:-/usr/bin/chromium}
if ! command -v node >/dev/null 2>&1 || ! command -v npm >/dev/null 2>&1 || [ ! -x "$chromium" ]; then
  needs="browser tests need node, npm and a Chromium at $chromium"
  if [ -n "${CI:-}" ]; then
    echo "failed: $needs" >&2
    exit 1
  fi
  echo "skipped: $needs" >&2
  exit 0
fi
if [ -z "${REPORT_PAGES:-}" ]; then
  target=${CARGO_TARGET_DIR:-$root/target}
  REPORT_PAGES=$target/sample-reports
  export REPORT_PAGES
  # The whole workspace, as `cargo test` builds it: one package alone has other features and would be built again.
  (cd "$root" && cargo build -q --workspace --example sample_reports && "$target/debug/examples/sample_reports" "$REPORT_PAGES")
fi
cd "$here"
[ -d node_modules/axe-core ] || npm ci --no-audit --no-fund --ignore-scripts
node --test --test-concurrency=1
