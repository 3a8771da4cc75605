#!/bin/sh
# The live screen in a real browser against the real program.
# Usage: browser_test.sh PINPROOF SOURCES WORK_FOLDER [PART...]
# Installs two npm packages into WORK_FOLDER where they are not there yet; pictures of every state
# go to WORK_FOLDER/pictures.
set -eu

if [ $# -lt 3 ]; then
  echo "usage: $0 PINPROOF SOURCES WORK_FOLDER [PART...]" >&2
  exit 2
fi
pinproof=$1 sources=$2 work=$3
shift 3
here=$sources/tests/screen/browser

missing() {
  echo "FAIL  $1 is missing: the test of the screen in a browser needs it" >&2
  exit 1
}
command -v node >/dev/null || missing node
command -v npm >/dev/null || missing npm
chromium=
for name in chromium chromium-browser google-chrome; do
  [ -n "$chromium" ] || chromium=$(command -v "$name" || true)
done
[ -n "$chromium" ] || missing "chromium (or chromium-browser, google-chrome)"
[ -x "$pinproof" ] || missing "$pinproof"

mkdir -p "$work"
if ! cmp -s "$here/package.json" "$work/package.json" || [ ! -d "$work/node_modules/axe-core" ] ||
  [ ! -d "$work/node_modules/playwright-core" ]; then
  # Known as done only once it is.
  rm -rf "$work/node_modules"
  cp "$here/package.json" "$work/package.json"
  npm install --prefix "$work" --fetch-retries 5 --no-audit --no-fund --no-package-lock --ignore-scripts >"$work/npm.txt" 2>&1 || {
    cat "$work/npm.txt" >&2
    echo "FAIL  npm could not install the packages of the test" >&2
    exit 1
  }
fi

profile=$(mktemp -d)
trap 'rm -rf "$profile"' EXIT
PINPROOF_LEDGER=none HOME=$profile node "$here/browser_test.mjs" "$pinproof" "$sources" "$work" \
  "$chromium" "$profile" "$@"
