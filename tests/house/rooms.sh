#!/usr/bin/env bash
# The rooms depend one way, read from the includes: a room may look into those that its line below names, into nothing
# else, and into none that stands behind it.
set -u
cd "$SWASHLOOP_SOURCE" || exit 1
failures=0

rooms='
models/lib
models/components    models/lib
models/transmission  models/lib models/components
models/rig           models/lib models/components
core
schema               models/lib core
columns              models/lib core schema
case                 models/lib core schema columns
plausibility         models/components schema case
linear               models/lib core
integrate            models/lib core linear
equilibrium          models/lib core integrate
run                  models/lib core schema case linear integrate equilibrium
files                core
results              models/lib core schema plausibility run files
sweep                core schema columns case plausibility run files results
review               core schema case run files results sweep
odds                 core run results sweep review
tuning               core schema case results sweep review
report               models/lib core schema files
analysis             models/lib models/components core schema columns case equilibrium run files results
cli                  models/lib core schema columns case plausibility run files results sweep review odds tuning report analysis
'

complain() {
  echo "$1"
  failures=$((failures + 1))
}

# The room that a file lies in.
room_of() {
  local folder
  folder=$(dirname "$1")
  echo "${folder#src/}"
}

# Where each header lies. Two must not share a name: with one include path for each room the wrong one could be read.
declare -A owner allowed
for file in models/*/*.h src/*/*.h; do
  name=$(basename "$file")
  [ -z "${owner[$name]:-}" ] || complain "two headers are named $name"
  owner[$name]=$(room_of "$file")
done

# Every room stands in the list once, every name in the list is a room that stands before.
while read -r room others; do
  [ -n "$room" ] || continue
  for other in $others; do
    [ -n "${allowed[$other]:-}" ] || complain "the list of rooms: $room may use $other, which does not stand before it"
  done
  case $room in models/*) folder=$room ;; *) folder=src/$room ;; esac
  ls "$folder"/*.[ch] >/dev/null 2>&1 || complain "the list of rooms: there is no room $room"
  allowed[$room]=" $room $others "
done <<<"$rooms"

declare -A used
for file in models/*/*.[ch] src/*/*.[ch]; do
  room=$(room_of "$file")
  [ -n "${allowed[$room]:-}" ] || { complain "$file lies in $room, which is not in the list of rooms"; continue; }
  while read -r header; do
    from=${owner[$header]:-}
    [ -n "$from" ] || { complain "$file includes \"$header\", which is in no room"; continue; }
    used[$room,$from]=1
    case ${allowed[$room]} in
    *" $from "*) ;;
    *) complain "$file ($room) includes $header ($from): the rooms depend one way" ;;
    esac
  done < <(sed -n 's/^ *# *include *"\([^"]*\)".*/\1/p' "$file")
done
for room in "${!allowed[@]}"; do
  for other in ${allowed[$room]}; do
    [ "$room" = "$other" ] || [ -n "${used[$room,$other]:-}" ] || complain "the list of rooms: $room does not use $other"
  done
done

# The physics knows nothing but mathematics.
for file in models/*/*.[ch]; do
  while read -r header; do
    case $header in
    math.h | stdbool.h | stddef.h | stdint.h | string.h) ;;
    *) complain "$file includes <$header>: models may use only math, stdbool, stddef, stdint and string" ;;
    esac
  done < <(sed -n 's/^ *# *include *<\([^>]*\)>.*/\1/p' "$file")
done

# The solver library is seen by the files that wrap it, CVODES by one.
while read -r file header; do
  case $file,$header in
  src/integrate/bdf.c,* | src/integrate/vecops.[ch],nvector/* | src/equilibrium/nonlinear.c,*) ;;
  *) complain "$file includes <$header>: the solver library is for bdf.c, vecops and nonlinear.c" ;;
  esac
done < <(grep -hnoE --with-filename 'include *<(cvodes?|kinsol|sundials|nvector|sunmatrix|sunlinsol|sunnonlinsol)/[^>]*' \
  models/*/*.[ch] src/*/*.[ch] | sed 's/:[0-9]*:include *</ /')

# So is the library of searches.
while read -r file; do
  case $file in
  src/tuning/search_*.c) ;;
  *) complain "$file includes <nlopt.h>: that is for src/tuning/search_*.c" ;;
  esac
done < <(grep -l 'include *<nlopt' models/*/*.[ch] src/*/*.[ch])

# Only the command room ends the program or prints.
while read -r line; do
  complain "outside src/cli: $line"
done < <(grep -nE '\<(exit|abort|printf|puts|putchar) *\(|\<fprintf *\( *std(out|err)' \
  models/*/*.[ch] src/*/*.[ch] | grep -v '^src/cli/' |
  grep -vE '^[^:]*:[0-9]+: *(/\*|\*)|format\(printf')

# Short enough to read in one go: all that is written by hand (not data, not what npm locks).
files=0
while read -r count file; do
  [ "$file" != total ] || continue
  files=$((files + 1))
  [ "$count" -lt 700 ] || complain "$file has $count lines, 700 are too many"
done < <(find models src tests tools -name node_modules -prune -o -type f ! -name '*.json' ! -name '*.pyc' -exec wc -l {} +)
[ "$files" -gt 300 ] || complain "only $files files were found to count the lines of"

[ "$failures" = 0 ] || echo "$failures complaints"
[ "$failures" = 0 ]
