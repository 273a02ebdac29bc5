#include "probe.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "units.h"

/* Seconds between two looks for a wish to stop. */
#define PATIENCE 0.1

struct probe {
  struct review *review;
  struct axis axes[PROBE_AXES];
  const char *paths[PROBE_AXES][1];
  struct parameter_ref refs[PROBE_AXES];
  double *numbers; /* of a decoded row */
  struct pool *pool;
};

/* The path in every cell; the number must be one that can be set there. */
static bool find_axis(struct probe *probe, int a, const struct probe_axis *wish, struct error *error) {
  const struct plan *plan = &probe->review->plan;
  struct parameter_ref *first = &probe->refs[a];
  for (int c = plan->cell_count - 1; c >= 0; c--) {
    struct error inner = {0};
    if (!parameter_ref_find(&plan->cells[c].data, wish->path, first, &inner)) {
      error_set(error, ERROR_USAGE, "'%s', character %d: %s (%s, %s)", wish->path, inner.column, inner.text,
                plan->cells[c].case_name, plan->cells[c].condition);
      return false;
    }
    if (first->choices != NULL && !wish->choice) {
      error_set(error, ERROR_USAGE, "'%s' is a choice; an envelope goes over numbers", wish->path);
      return false;
    }
    if (first->choices == NULL && (wish->low < first->low || wish->high > first->high)) {
      char low[64];
      char high[64];
      error_set(error, ERROR_USAGE, "'%s' can be from %s to %s", wish->path,
                units_show(first->quantity, first->low, low, sizeof low),
                units_show(first->quantity, first->high, high, sizeof high));
      return false;
    }
  }
  probe->paths[a][0] = wish->path;
  probe->axes[a] =
      (struct axis){.path = wish->path, .paths = probe->paths[a], .refs = first, .ref_count = 1, .kind = AXIS_LIST};
  return true;
}

/* What runs over the axes that the plan has now; closes the probe where it cannot. */
static struct probe *start(struct probe *probe, int jobs, struct error *error) {
  struct plan *plan = &probe->review->plan;
  plan->arrangement = ARRANGE_POINTS;
  plan->samples = 0;
  probe->numbers = calloc((size_t)row_number_count(row_shape_of(plan)), sizeof *probe->numbers);
  if (probe->numbers == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for the runs");
  } else {
    const struct pool_order order = {.plan = plan, .jobs = jobs, .shards = 1};
    probe->pool = pool_new(&order, error);
  }
  if (probe->pool == NULL) {
    probe_close(probe);
    return NULL;
  }
  return probe;
}

static struct probe *make(struct review *review, struct error *error) {
  struct probe *probe = calloc(1, sizeof *probe);
  if (probe == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for the runs");
    return NULL;
  }
  probe->review = review;
  return probe;
}

struct probe *probe_open(struct review *review, const struct probe_axis *axes, int axis_count, int jobs,
                         struct error *error) {
  struct probe *probe = make(review, error);
  bool good = probe != NULL;
  for (int a = 0; good && a < axis_count; a++) {
    good = find_axis(probe, a, &axes[a], error);
  }
  if (!good) {
    free(probe);
    return NULL;
  }
  review->plan.axes = probe->axes;
  review->plan.axis_count = axis_count;
  return start(probe, jobs, error);
}

struct probe *probe_open_varied(struct review *review, int jobs, struct error *error) {
  struct probe *probe = make(review, error);
  return probe != NULL ? start(probe, jobs, error) : NULL;
}

/* Is `a` worse news than `b`? */
static bool is_worse(const struct probe_answer *a, const struct probe_answer *b) {
  static const int gravity[REVIEW_COUNT] = {
      [REVIEW_KEPT] = 0, [REVIEW_NO_LIMITS] = 1, [REVIEW_NOT_JUDGED] = 2, [REVIEW_FAILED] = 3, [REVIEW_BROKEN] = 4};
  if (a->verdict != b->verdict) {
    return gravity[a->verdict] > gravity[b->verdict];
  }
  return !isnan(a->margin) && !(a->margin >= b->margin);
}

bool probe_run(struct probe *probe, const struct probe_order *order, bool *stopped, struct error *error) {
  struct plan *plan = &probe->review->plan;
  plan->points = order->values; /* nothing runs now */
  plan->samples = order->count;
  plan->cases = order->count * plan_base_count(plan);
  int64_t given = 0;
  bool good = true;
  *stopped = false;
  while (!pool_idle(probe->pool) || (good && !*stopped && given < plan->cases)) {
    for (int wanted = pool_wants(probe->pool); good && !*stopped && wanted > 0 && given < plan->cases; wanted--) {
      int64_t left = plan->cases - given;
      struct span span = {given, left < order->span ? left : order->span};
      pool_give(probe->pool, span);
      given += span.count;
    }
    struct pool_block *block = pool_take(probe->pool, PATIENCE);
    if (block != NULL) {
      if (good && block->broken) {
        *error = block->error;
        good = false;
      }
      good = good && order->take(order->context, block, error);
      pool_return(probe->pool, block);
    }
    *stopped = *stopped || (good && order->stop(order->context));
    if (*stopped || !good) {
      pool_stop(probe->pool);
    }
  }
  return good;
}

/* A round of points that is listened to. */
struct hearing {
  struct probe *probe;
  const struct probe_listener *listener;
  bool (*stop)(void);
};

static bool hear_block(void *context, const struct pool_block *block, struct error *error) {
  const struct hearing *hearing = context;
  struct probe *probe = hearing->probe;
  const struct plan *plan = &probe->review->plan;
  struct row_shape shape = row_shape_of(plan);
  size_t used = 0;
  (void)error;
  for (int64_t i = 0; i < block->count; i++) {
    struct row row;
    used += row_decode(shape, block->payload + used, block->bytes - used, probe->numbers, &row);
    hearing->listener->take(hearing->listener->context, (int)(row.k / plan_base_count(plan)), plan_base(plan, row.k),
                            &row);
  }
  return true;
}

static bool wants_stop(void *context) {
  const struct hearing *hearing = context;
  return hearing->stop();
}

bool probe_listen(struct probe *probe, const double *values, int count, const struct probe_listener *listener,
                  bool (*stop)(void), struct error *error) {
  struct hearing hearing = {probe, listener, stop};
  const struct probe_order order = {
      .values = values, .count = count, .span = 1, .context = &hearing, .take = hear_block, .stop = wants_stop};
  bool stopped = false;
  return probe_run(probe, &order, &stopped, error) && (!stopped || error_set(error, ERROR_RUN, "interrupted"));
}

/* What a listener that gathers answers knows. */
struct gathering {
  const struct review *review;
  struct probe_answer *answers;
};

static void gather(void *context, int point, int cell, const struct row *row) {
  struct gathering *gathering = context;
  struct judgement judgement = review_judge(gathering->review, row, NULL);
  struct probe_answer told = {judgement.verdict, judgement.limit, cell, judgement.margin};
  struct probe_answer *answer = &gathering->answers[point];
  if (answer->cell < 0 || is_worse(&told, answer)) {
    *answer = told;
  }
}

bool probe_ask(struct probe *probe, const double *values, int count, struct probe_answer *answers, bool (*stop)(void),
               struct error *error) {
  struct gathering gathering = {probe->review, answers};
  const struct probe_listener listener = {&gathering, gather};
  for (int i = 0; i < count; i++) {
    answers[i] = (struct probe_answer){REVIEW_KEPT, -1, -1, NAN};
  }
  return probe_listen(probe, values, count, &listener, stop, error);
}

const struct parameter_ref *probe_quantity(const struct probe *probe, int axis) {
  return &probe->refs[axis];
}

void probe_close(struct probe *probe) {
  struct plan *plan = &probe->review->plan;
  pool_free(probe->pool);
  if (plan->axes == probe->axes) {
    plan->axes = NULL;
    plan->axis_count = 0;
  }
  free(probe->numbers);
  free(probe);
}
