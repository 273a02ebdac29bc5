#!/usr/bin/env bash
# What the models library asks of others: mathematics and moving memory, nothing else. What it offers: its plants.
set -u
[ -n "${SWASHLOOP_MODELS:-}" ] || { echo "no models library in this build"; exit 77; }

defined=$(nm --defined-only --extern-only "$SWASHLOOP_MODELS" | awk 'NF == 3 { print $3 }' | sort -u)
undefined=$(nm --undefined-only "$SWASHLOOP_MODELS" | awk '$1 == "U" { print $2 }' | sort -u |
  # What the sanitizers, the coverage counters, the linker and the question which processor this is put in themselves.
  grep -vE '^(__cpu_model|__asan_|__ubsan_|__gcov_|__sanitizer_|_GLOBAL_OFFSET_TABLE_|__stack_chk_fail)')
foreign=$(comm -23 <(echo "$undefined") <(echo "$defined") |
  grep -vxE '(__)?(a?(sin|cos|tan)h?|atan2|exp|exp2|expm1|log|log2|log10|log1p|pow|sqrt|cbrt|hypot|fabs|f(min|max|mod|dim)|floor|ceil|trunc|l?l?round|rint|nearbyint|copysign|fma|erfc?|sincos|ldexp|frexp|scalbn|nan)|mem(cpy|move|set|cmp)|__mem(cpy|move|set)_chk')
# By section: constant tables full of pointers are filled in by the loader (.data.rel.ro) and are no state.
writable=$(nm --format=sysv "$SWASHLOOP_MODELS" |
  awk -F'|' '{ gsub(/ /, "", $1); gsub(/ /, "", $7) } $7 ~ /^(\.t?(data|bss)|\.data\.rel\.local|\*COM\*)$/ { print $1 }' |
  grep -vE '^(__gcov|__asan|\.L|\.(data|bss))' | sort -u)

status=0
if [ -n "$foreign" ]; then
  echo "the models library asks for: ${foreign//$'\n'/ }"
  status=1
fi
if [ -n "$writable" ]; then
  echo "the models library keeps state in: ${writable//$'\n'/ }"
  status=1
fi
exit $status
