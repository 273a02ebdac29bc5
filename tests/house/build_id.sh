#!/usr/bin/env bash
# The name of a build follows from the sources of the physics and from what compiles them, and from nothing else: not
# from where the tree lies, not from version control, not from pages or scripts.
set -u
command -v cmake >/dev/null || { echo "no cmake here"; exit 77; }
folder=$(mktemp -d) || exit 1
trap 'rm -rf "$folder"' EXIT
failures=0

# The name of the build of the tree $1, compiled by $2.
name_of() {
  (
    cd "$1" || exit 1
    files=$(printf '%s\n' models/*/*.[ch] src/{core,schema,linear,integrate,case,equilibrium,run,sweep}/*.[ch] |
      sort "${3:---}" | paste -sd ';')
    cmake -DOUTPUT="$folder/id.c" -DROOT="$1" -DFILES="$files" -DTOOLS="$2" -P "$SWASHLOOP_SOURCE/src/core/build_id.cmake"
  ) || return
  sed -n 's/.*return "\(.*\)";/\1/p' "$folder/id.c"
}

expect() {
  if [ "$2" = = ]; then
    [ "$3" = "$4" ] && return
  else
    [ "$3" != "$4" ] && return
  fi
  echo "$1: '$3' $2 '$4' is not so"
  failures=$((failures + 1))
}

mkdir "$folder/tree" && cp -r "$SWASHLOOP_SOURCE/models" "$SWASHLOOP_SOURCE/src" "$folder/tree/" || exit 1
here=$(name_of "$SWASHLOOP_SOURCE" "compiler 1")
[[ $here =~ ^[0-9a-f]{12}-[0-9a-f]{6}$ ]] || { echo "'$here' is no name of a build"; exit 1; }
expect "a copy elsewhere, listed in another order" = "$(name_of "$folder/tree" "compiler 1" -r)" "$here"
other=$(name_of "$folder/tree" "compiler 2")
expect "another compiler" != "$other" "$here"
expect "another compiler, sources" = "${other%-*}" "${here%-*}"
sed -i '0,/1\.0/s//1.1/' "$folder/tree/models/components/relief.h"
other=$(name_of "$folder/tree" "compiler 1")
expect "other physics" != "$other" "$here"
expect "other physics, compiler" = "${other#*-}" "${here#*-}"

# The program of this build says the name of these sources.
if [ -x "${SWASHLOOP:-}" ]; then
  expect "the program" = "$("$SWASHLOOP" --version | sed 's/.*, build //; s/-.*//')" "${here%-*}"
fi
[ "$failures" = 0 ]
