#!/usr/bin/env bash
# What compiler and linker put into the built programs against memory errors that slip through: places in memory that
# differ from run to run, no memory both writable and executable, addresses of library functions fixed before main and
# then read-only, guards on stack frames, library calls that check the size of what they fill.
set -u
command -v readelf >/dev/null || { echo "no readelf here"; exit 77; }
[ -x "${SWASHLOOP:-}" ] || { echo "SWASHLOOP names no program"; exit 77; }
failures=0

complain() {
  echo "$1: $2"
  failures=$((failures + 1))
}

# No pipes into `grep -q`: it leaves early, and what writes would be killed.
has() {
  grep -qE "$1" <<<"$2"
}

for program in "$SWASHLOOP" "$(dirname "$SWASHLOOP")/swashloop-mpi"; do
  [ -x "$program" ] || continue
  head=$(readelf --wide --file-header "$program") || exit 1
  segments=$(readelf --wide --program-headers "$program") || exit 1
  dynamic=$(readelf --wide --dynamic "$program") || exit 1
  has 'Type: +DYN' "$head" || complain "$program" "is not position independent (-fPIE -pie)"
  has 'GNU_STACK.* RW +0x' "$segments" || complain "$program" "has an executable stack (-z noexecstack)"
  has '^ +LOAD .* RWE +0x' "$segments" && complain "$program" "has memory that is writable and executable"
  has 'GNU_RELRO' "$segments" || complain "$program" "has no read-only relocations (-z relro)"
  has '\((FLAGS|FLAGS_1|BIND_NOW)\).*NOW' "$dynamic" || complain "$program" "binds functions late (-z now)"
  has 'TEXTREL' "$dynamic" && complain "$program" "relocates its code"
done

# Guards and checked calls of our own rooms: the libraries linked in bring theirs. So many of our files have them:
wanted=$(nm --undefined-only "$SWASHLOOP_BUILD"/libswashloop_*.a) || exit 1
rooms="$SWASHLOOP_BUILD/libswashloop_*.a" # for words only
[ "$(grep -c ' __stack_chk_fail$' <<<"$wanted")" -ge 40 ] || complain "$rooms" "no guards on the stack (-fstack-protector-strong)"
# Only an optimising compiler knows the sizes.
if grep -q '^CMAKE_BUILD_TYPE:[A-Z]*=Rel' "$SWASHLOOP_BUILD/CMakeCache.txt"; then
  [ "$(grep -cE ' __(memcpy|memset|memmove|v?snprintf)_chk$' <<<"$wanted")" -ge 20 ] ||
    complain "$rooms" "library calls are unchecked (-D_FORTIFY_SOURCE=2)"
fi
[ "$failures" = 0 ]
