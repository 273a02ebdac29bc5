#!/usr/bin/env bash
# The rooms depend one way: models <- core <- lanes <- {case, run, results, report, sweep, analysis} <- cli. Read from the includes.
set -u
cd "$SWASHLOOP_SOURCE" || exit 1
failures=0

complain() {
  echo "$1"
  failures=$((failures + 1))
}

# The room that a header lies in; empty for a header from outside.
room_of() {
  local found
  for found in "models/$1" src/*/"$1"; do
    if [ -e "$found" ]; then
      dirname "$found" | sed 's,^src/,,'
      return
    fi
  done
}

# Rooms that a room may look into, besides its own.
may_use() {
  case $1 in
  models) ;;
  core | lanes) echo models core ;;
  case | run) echo models core lanes case ;;
  results | report) echo models core case run ;;
  report) echo models core case run ;;
  sweep) echo models core case run results ;;
  analysis) echo models core case run results report ;;
  cli) echo models core case run results report sweep analysis ;;
  esac
}

# Two headers must not share a name: with one include path for each room the wrong one could be read.
for name in $(ls models/*.h src/*/*.h | xargs -n1 basename | sort | uniq -d); do
  complain "two headers are named $name"
done

for file in models/*.[ch] src/*/*.[ch]; do
  [ -e "$file" ] || continue
  room=$(dirname "$file" | sed 's,^src/,,')
  allowed=" $room $(may_use "$room") "
  while read -r header; do
    owner=$(room_of "$header")
    [ -n "$owner" ] || { complain "$file includes \"$header\", which is in no room"; continue; }
    case $allowed in *" $owner "*) continue ;; esac
    # The one exception: a case holds the settings and the measures that a run declares.
    case $room:$header in case:simulation.h | case:measures.h) continue ;; esac
    complain "$file ($room) includes $header ($owner): the rooms depend one way"
  done < <(sed -n 's/^ *# *include *"\([^"]*\)".*/\1/p' "$file")
done

# The physics knows nothing but mathematics.
for file in models/*.[ch]; do
  while read -r header; do
    case $header in
    math.h | stdbool.h | stddef.h | stdint.h | string.h) ;;
    *) complain "$file includes <$header>: models may use only math, stdbool, stddef, stdint and string" ;;
    esac
  done < <(sed -n 's/^ *# *include *<\([^>]*\)>.*/\1/p' "$file")
done

# Only the command room ends the program or prints.
while read -r line; do
  complain "outside src/cli: $line"
done < <(grep -nE '\<(exit|abort|printf|puts|putchar) *\(|\<fprintf *\( *std(out|err)' \
  models/*.[ch] src/{core,case,run,results,report,sweep,analysis}/*.[ch] 2>/dev/null |
  grep -vE '^[^:]*:[0-9]+: *(/\*|\*)|format\(printf')

# Short enough to read in one go.
while read -r count file; do
  [ "$file" = total ] || [ "$count" -lt 700 ] || complain "$file has $count lines, 700 are too many"
done < <(wc -l models/*.[ch] src/*/*.[ch])

[ "$failures" = 0 ] || echo "$failures complaints"
[ "$failures" = 0 ]
