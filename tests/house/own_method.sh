#!/usr/bin/env bash
# The linearly implicit method stands on its own: with the integrator around it it compiles without a header of the
# solver library, links without that library, and makes steps.
set -eu
compiler=${CC:-cc}
command -v "$compiler" >/dev/null || { echo "no C compiler here"; exit 77; }
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$SWASHLOOP_SOURCE"
cat >"$folder/main.c" <<'END'
#include <math.h>
#include <stdio.h>

#include "integrator_method.h"
#include "integrators.h"

/* In its place in the list; nobody asks it for anything. */
const struct integrator_method integrator_bdf = {.name = "none"};
extern const struct integrator_method integrator_rosenbrock;

static void rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[0] = -1e4 * (y[0] - y[1]);
  rates[1] = -y[1];
}

static void powers(void *context, double t, const double *y, double *powers) {
  (void)context;
  (void)t;
  powers[0] = y[1];
}

int main(void) {
  const double tolerances[2] = {1e-9, 1e-9};
  const char *names[2] = {"fast", "slow"};
  double y[2] = {1.0, 1.0};
  double integral = 0.0;
  struct error error = {0};
  struct integrator_problem problem = {.method = &integrator_rosenbrock, .state_count = 2, .integral_count = 1,
                                       .rates = rates, .powers = powers, .tolerances = tolerances,
                                       .state_names = names, .relative_tolerance = 1e-8, .nonlinear_tolerance = 0.01,
                                       .largest_order = 5, .integral_tolerance = 1e-9, .largest_step = 1e6};
  struct integrator *integrator = integrator_new(&problem, &error);
  int good = integrator != NULL && integrator_start(integrator, 0.0, y, &integral, &error);
  while (good && integrator_time(integrator) < 1.0) {
    good = integrator_step(integrator, 1.0, &error);
  }
  if (good) {
    integrator_state_at(integrator, 1.0, y);
    integrator_integrals_at(integrator, 1.0, &integral);
  }
  integrator_free(integrator);
  printf("%d: %.12g %.12g\n", good, y[1] - exp(-1.0), integral - (1.0 - exp(-1.0)));
  return good && fabs(y[1] - exp(-1.0)) < 1e-6 && fabs(integral - (1.0 - exp(-1.0))) < 1e-6 ? 0 : 1;
}
END
sources=$(printf '%s\n' src/core/{error,text,aligned}.c src/linear/*.c src/integrate/*.c | grep -vE '/(bdf|vecops|eigenvalues)\.c$')
flags="-std=c11 -O1 -ffp-contract=off -fno-math-errno -D_POSIX_C_SOURCE=200809L -Isrc/core -Isrc/linear -Isrc/integrate -Imodels/lib"
# shellcheck disable=SC2086 # lists of words
if "$compiler" $flags -M $sources | grep -E '/(cvodes?|kinsol|sundials|nvector|sunmatrix|sunlinsol|sunnonlinsol)[^ ]*\.h'; then
  echo "these headers belong to the solver library"
  exit 1
fi
# shellcheck disable=SC2086
"$compiler" $flags "$folder/main.c" $sources -lm -o "$folder/main"
"$folder/main"
