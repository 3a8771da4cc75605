#!/usr/bin/env bash
# clang-tidy finds what it is asked to find: with the project's own settings each
# planted fault is an error on its line, in a source as in a header, and a sound file
# passes. Without this a check list that finds nothing would look like clean code.
#   tidy_test.sh SOURCES
set -euo pipefail
sources=$(realpath "$1")
planted=$sources/tests/house/planted/src
tidy=$(command -v clang-tidy-16) || { echo "tidy: clang-tidy-16 is not installed" >&2; exit 1; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
look() { "$tidy" --quiet --config-file="$sources/.clang-tidy" "$@" -- -std=c++20; }

if look "$planted/faulty.cpp" >"$work/found" 2>/dev/null; then
  echo "tidy: faults on purpose passed" >&2
  exit 1
fi
wanted=0 missed=0
while IFS=: read -r file line text; do
  check=${text##*finds: }
  wanted=$((wanted + 1))
  grep -Eq "/$file:$line:[0-9]+: error: .*\[[^]]*${check//./\\.}[],]" "$work/found" ||
    { echo "tidy: $file:$line: $check was not found" >&2; missed=$((missed + 1)); }
done < <(cd "$planted" && grep -n 'finds: ' faulty.h faulty.cpp)
[ "$wanted" -ge 10 ] || { echo "tidy: only $wanted faults are planted" >&2; exit 1; }
if [ $missed -gt 0 ]; then cat "$work/found" >&2; exit 1; fi
look "$planted/sound.cpp" >"$work/sound" 2>&1 || { cat "$work/sound" >&2; exit 1; }
echo "tidy: $wanted of $wanted planted faults found, the sound file passes"
