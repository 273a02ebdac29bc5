#!/usr/bin/env bash
# The page docs/validation.md says what the outside checks of this build give.
set -u
exec "${SWASHLOOP_SOURCE:?}/tools/make-validation" --check
