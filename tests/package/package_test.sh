#!/usr/bin/env bash
# The Debian package: built twice to the same bytes, complete, and at home where
# it is installed.
#   package_test.sh BUILD SOURCES [--root-install [BASE]]
# --root-install is the long form: a clean Debian 12 by debootstrap (as root, from
# the mirror that apt uses; kept in BASE for the next time), in which the package
# is installed, used, upgraded, removed and purged.
set -euo pipefail
build=$(realpath "$1") sources=$(realpath "$2") long=${3:-} base=${4:-}
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
work=$(mktemp -d)
root=
clean() {
  [ -z "$root" ] || for point in sys proc; do umount "$root/$point" 2>/dev/null || true; done
  rm -rf --one-file-system "$work"
}
trap clean EXIT
say() { echo "package: $*"; }
fail() { echo "package: FAILED: $*" >&2; exit 1; }

build_package() {  # folder
  cpack -G DEB --config "$build/CPackConfig.cmake" -B "$1" >"$work/cpack.log" 2>&1 ||
    { cat "$work/cpack.log" >&2; fail "cpack"; }
  ls "$1"/*.deb
}

# Reproducible: other folder, later time, other zone; with another umask the contents.
one=$(build_package "$work/one")
sleep 1.1
two=$(TZ=Pacific/Auckland build_package "$work/two")
[ "$(sha256sum <"$one")" = "$(sha256sum <"$two")" ] || fail "two builds differ"
three=$(umask 077; build_package "$work/three")
[ "$(dpkg-deb --fsys-tarfile "$one" | sha256sum)" = "$(dpkg-deb --fsys-tarfile "$three" | sha256sum)" ] || fail "the umask shows"
dated=$(SOURCE_DATE_EPOCH=1000000000 build_package "$work/dated")
grep -q 2001-09-09 <<<"$(dpkg-deb -c "$dated")" || fail "SOURCE_DATE_EPOCH is not honoured"
say "the same bytes twice: $(basename "$one"), $(stat -c %s "$one") bytes"

version=$(dpkg-deb -f "$one" Version)
[ "$(basename "$one")" = "pinproof_${version}_$(dpkg --print-architecture).deb" ] || fail "file name $one"
dpkg-deb -f "$one" Depends | grep -q 'libc6.*libcairo2.*libpqxx' || fail "dependencies: $(dpkg-deb -f "$one" Depends)"
dpkg-deb -f "$one" Recommends | grep -q 'chromium, sigrok-cli' || fail "recommends"

# Contents.
dpkg-deb -c "$one" >"$work/list"
if awk '$2 != "root/root"' "$work/list" | grep .; then fail "owners"; fi
if awk '{print $1}' "$work/list" | grep -vE '^(drwxr-xr-x|-rw-r--r--|-rwxr-xr-x)$'; then fail "modes"; fi
unpacked=$work/unpacked
dpkg-deb -x "$one" "$unpacked"
wanted=(bin/pinproof lib/udev/rules.d/60-pinproof.rules lib/systemd/user/pinproof-screen.service
        share/bash-completion/completions/pinproof share/zsh/vendor-completions/_pinproof
        share/fish/vendor_completions.d/pinproof.fish share/man/man1/pinproof.1.gz
        share/doc/pinproof/{copyright,changelog.gz,README.md,DEVELOPERS.md,examples/first-inspection})
for path in "${wanted[@]}"; do [ -s "$unpacked/usr/$path" ] || fail "/usr/$path is missing"; done
diff -r "$sources/profiles" "$unpacked/usr/share/pinproof/profiles"
diff -r "$sources/drivers/dialects" "$unpacked/usr/share/pinproof/dialects"
file "$unpacked/usr/bin/pinproof" | grep -q ', stripped' || fail "the program is not stripped"
# Two build trees give the same bytes only if neither is named in them.
for folder in "$sources" "$build"; do
  if grep -rlaF "$folder/" "$unpacked"; then fail "names the folder it was built in"; fi
done
if ldd "$unpacked/usr/bin/pinproof" | grep 'not found'; then fail "libraries"; fi
if command -v lintian >/dev/null; then
  # No upstream bug tracker to close; user units of a bench are for its people to enable.
  lintian --allow-root --fail-on error --suppress-tags initial-upload-closes-no-bugs "$one" || fail "lintian"
fi
if command -v systemd-analyze >/dev/null; then
  sed "s:/usr/bin/:$unpacked/usr/bin/:" "$unpacked/usr/lib/systemd/user/pinproof-screen.service" >"$work/pinproof-screen.service"
  faults=$(XDG_RUNTIME_DIR=$work systemd-analyze verify --user --man=no "$work/pinproof-screen.service" 2>&1) || fail "unit: $faults"
  [ -z "$faults" ] || fail "$faults"
fi
say "contents: $(grep -c '^-' "$work/list") files"

# Every command has its page, and none warns.
for page in "$unpacked"/usr/share/man/man1/*.gz; do
  warned=$(LC_ALL=C.UTF-8 MANWIDTH=80 man --warnings -l "$page" 2>&1 >"$work/page") || fail "man $page"
  [ -z "$warned" ] || fail "$page: $warned"
  grep -q '^EXIT STATUS' "$work/page" || fail "$page renders to nothing"
done
"$unpacked/usr/bin/pinproof" --help | sed -n '/^Subcommands/,$s/^  \([a-z]\+\) .*/\1/p' | while read -r command; do
  [ -e "$unpacked/usr/share/man/man1/pinproof-$command.1.gz" ] || fail "no page for $command"
done
# What --help lists of a command and of those below it stands in its page, its own example too, and
# the completions know it.
told() {  # words of a command; prints its options, then its example
  "$unpacked/usr/bin/pinproof" "$@" --help | sed -n '/^Options:/,/^[A-Z][a-z]*:/s/^  \(-[-a-zA-Z,]*\).*/\1/p' | tr ',' '\n'
  "$unpacked/usr/bin/pinproof" "$@" --help | sed -n '/^Example:/,$s/^  *\(pinproof .*\)/\1/p'
}
below() { "$unpacked/usr/bin/pinproof" "$@" --help | sed -n '/^Subcommands:/,/^[A-Z][a-z]*:/s/^  \([a-z]\+\) .*/\1/p'; }
lines=0
while read -r command; do
  LC_ALL=C.UTF-8 MANWIDTH=400 man -l "$unpacked/usr/share/man/man1/pinproof-$command.1.gz" >"$work/page" 2>/dev/null
  while read -r words; do
    # shellcheck disable=SC2086
    while IFS= read -r line; do
      grep -qF -- "$line" "$work/page" || fail "the page of $command lacks \"$line\" of $words"
      case $line in -*) grep -F "'$words') printf" "$unpacked/usr/share/bash-completion/completions/pinproof" | grep -cF -- "$line" >/dev/null ||
        fail "no completion for $words $line" ;; esac
      lines=$((lines + 1))
    done < <(told $words)
  done < <(echo "$command"; below "$command" | sed "s/^/$command /")
done < <(below)
[ "$lines" -gt 200 ] || fail "only $lines options and examples were found in the help"
say "pages and completions: $lines options and examples of --help"
PATH="$unpacked/usr/bin:$PATH" bash "$here/completion_test.sh" "$unpacked/usr"

PATH="$unpacked/usr/bin:$PATH" bash "$here/installed_test.sh"
[ "$long" = --root-install ] || { say "ok (without --root-install)"; exit 0; }

# A clean Debian 12.
[ "$(id -u)" = 0 ] || fail "--root-install wants root"
mirror=$({ cat /etc/apt/sources.list /etc/apt/sources.list.d/* 2>/dev/null || true; } |
         awk '/^(deb|URIs:) / && /debian/ && !/security/ {for (i = 2; i <= NF; ++i) if ($i ~ /^https?:/) {print $i; exit}}')
[ -n "$mirror" ] || fail "apt has no Debian mirror"
base=${base:-$work/base}
[ -e "$base/usr/bin/dpkg" ] || debootstrap --variant=minbase bookworm "$base" "$mirror" >"$work/debootstrap.log" 2>&1 ||
  { tail "$work/debootstrap.log" >&2; fail "debootstrap"; }
root=$work/root
cp -a "$base" "$root"
mount -t proc proc "$root/proc" 2>/dev/null || say "no /proc in the root"
within() { chroot "$root" /usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8 DEBIAN_FRONTEND=noninteractive "$@"; }
# The libraries first, so that what is compared below is this package alone.
within apt-get update -qq
within apt-get satisfy -y -qq --no-install-recommends "$(dpkg-deb -f "$one" Depends)" man-db udev >"$work/apt.log" 2>&1 ||
  { tail "$work/apt.log" >&2; fail "apt-get satisfy"; }

mkdir -p "$root/home/tech/.local/share/pinproof" "$root/tmp/t"
echo mine >"$root/home/tech/.local/share/pinproof/ledger.sqlite"
cp "$here"/*_test.sh "$root/tmp/t/"
# dpkg's own books, man's index and logs change with any package.
snapshot() {
  (cd "$root" && find . -xdev \( -path ./proc -o -path ./sys -o -path ./dev -o -path ./run -o -path ./tmp -o -path ./var/log -o -path ./var/cache \
     -o -path './var/lib/dpkg/*-old' -o -path ./var/lib/dpkg/status -o -path ./var/lib/dpkg/lock \
     -o -path ./var/lib/dpkg/triggers/Lock \) -prune -o \( -printf '%M %u:%g %p %l\n' -a -type f -fprint0 "$work/files" \) | LC_ALL=C sort
   LC_ALL=C sort -z "$work/files" | xargs -0 sha256sum)
}
snapshot >"$work/before"

cp "$one" "$root/tmp/t/one.deb"
within dpkg -i /tmp/t/one.deb >"$work/dpkg.log" 2>&1 || { cat "$work/dpkg.log" >&2; fail "dpkg -i"; }
within dpkg --audit | grep . && fail "dpkg --audit"
[ "$(within pinproof --version)" = "pinproof $version" ] || fail "version in the root"
within bash /tmp/t/installed_test.sh
within bash /tmp/t/completion_test.sh /usr
within man -P cat pinproof-inspect | grep -q 'SEE ALSO' || fail "man page in the root"
within bash -c 'cd /tmp/t && bash /usr/share/doc/pinproof/examples/first-inspection reports >/dev/null && ls reports/HD-0002.html' >/dev/null ||
  fail "the installed example"
within dpkg --verify pinproof | grep . && fail "dpkg --verify"
[ ! -e "$root/etc/systemd/user/default.target.wants/pinproof-screen.service" ] || fail "the unit is enabled by itself"

if mount -t sysfs -o ro sysfs "$root/sys" 2>/dev/null; then
  within udevadm test /sys/class/mem/null >"$work/udev.log" 2>&1 || true
  grep -q 'Reading rules file: .*60-pinproof.rules' "$work/udev.log" || fail "udev does not read the rules"
  if grep '60-pinproof.rules:[0-9]' "$work/udev.log"; then fail "udev's complaints"; fi
  umount "$root/sys"
else
  say "no /sys in the root: the rules were not read by udev"
fi

# Upgrade to a version with one file less and one more.
dpkg-deb -R "$one" "$work/next"
sed -i "s/^Version: .*/Version: $version+next/" "$work/next/DEBIAN/control"
sed -i '/DEVELOPERS.md/d' "$work/next/DEBIAN/md5sums"
(cd "$work/next" && mv usr/share/doc/pinproof/DEVELOPERS.md usr/share/doc/pinproof/NEW.md && md5sum usr/share/doc/pinproof/NEW.md >>DEBIAN/md5sums)
dpkg-deb --root-owner-group -b "$work/next" "$root/tmp/t/next.deb" >/dev/null
within dpkg -i /tmp/t/next.deb >"$work/dpkg.log" 2>&1 || { cat "$work/dpkg.log" >&2; fail "upgrade"; }
[ "$(within dpkg-query -W -f '${Version} ${db:Status-Abbrev}' pinproof)" = "$version+next ii " ] || fail "state after the upgrade"
[ -e "$root/usr/share/doc/pinproof/NEW.md" ] && [ ! -e "$root/usr/share/doc/pinproof/DEVELOPERS.md" ] || fail "files after the upgrade"
within pinproof --version >/dev/null

within dpkg --remove pinproof >"$work/dpkg.log" 2>&1 || { cat "$work/dpkg.log" >&2; fail "remove"; }
[ ! -e "$root/usr/bin/pinproof" ] || fail "the program is left after removal"
within dpkg --purge pinproof >>"$work/dpkg.log" 2>&1 || { cat "$work/dpkg.log" >&2; fail "purge"; }
grep -i warning "$work/dpkg.log" && fail "dpkg warned"
snapshot >"$work/after"
diff "$work/before" "$work/after" || fail "files before and after differ"
say "root: installed, used, upgraded, removed, purged; $(wc -l <"$work/before") lines of files and sums as before, the ledger of a user untouched"
