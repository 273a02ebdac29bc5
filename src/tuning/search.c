#include "search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "draw.h"

#define FIRST_REACH 0.2
#define AGREE_GOAL 0.01
#define AGREE_MARGIN 0.005

enum { POINTS_MOST = 1000000 };

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the search");
}

bool search_open(const struct search_question *question, struct search *search, struct error *error) {
  *search = (struct search){.question = question, .best = -1};
  search->lanes = calloc((size_t)question->choices, sizeof *search->lanes);
  search->starts = calloc((size_t)question->starts + 1, sizeof *search->starts);
  for (int c = 0; search->lanes != NULL && c < question->choices; c++) {
    search->lanes[c] = (struct search_lane){0, -1, -1};
  }
  return (search->lanes != NULL && search->starts != NULL) || no_memory(error);
}

void search_close(struct search *search) {
  for (int i = 0; i < search->count; i++) {
    free(search->points[i]->margins);
    free(search->points[i]);
  }
  free(search->points);
  free(search->lanes);
  free(search->starts);
  *search = (struct search){0};
}

/* ---- runs ---- */

static struct search_point *new_point(struct search *search) {
  const struct search_question *question = search->question;
  if (search->count == search->room) {
    int room = search->room > 0 ? 2 * search->room : 64;
    struct search_point **larger = room <= POINTS_MOST ? realloc(search->points, (size_t)room * sizeof(void *)) : NULL;
    if (larger == NULL) {
      return NULL;
    }
    search->points = larger;
    search->room = room;
  }
  struct search_point *point = calloc(1, sizeof *point);
  double *margins = calloc((size_t)(question->limits + question->conditions) + 1, sizeof *margins);
  if (point == NULL || margins == NULL) {
    free(point);
    free(margins);
    return NULL;
  }
  point->margins = margins;
  search->points[search->count++] = point;
  return point;
}

static void weigh(const struct search_question *question, struct search_point *point) {
  point->worst = INFINITY;
  for (int i = 0; i < question->limits; i++) {
    point->worst = fmin(point->worst, point->margins[i]);
  }
  point->reach = point->worst - question->reserve;
  for (int i = 0; i < question->conditions; i++) {
    point->reach = fmin(point->reach, point->margins[question->limits + i]);
  }
  for (int g = 0; g < question->goal_count; g++) {
    if (question->goals[g].of_margin) {
      point->goals[g] = -point->worst;
    }
  }
}

bool search_try(struct search *search, int choice, const double *at, int *index, struct error *error) {
  const struct search_question *question = search->question;
  size_t bytes = (size_t)question->variables * sizeof *at;
  struct search_lane *lane = &search->lanes[choice];
  for (int i = 0; i < search->count; i++) {
    if (search->points[i]->choice == choice && memcmp(search->points[i]->at, at, bytes) == 0) {
      *index = i;
      return true;
    }
  }
  struct search_point *point = new_point(search);
  if (point == NULL) {
    return no_memory(error);
  }
  point->choice = choice;
  memcpy(point->at, at, bytes);
  if (!question->ask(question->context, point, error)) {
    return false;
  }
  weigh(question, point);
  *index = search->count - 1;
  lane->points++;
  if (lane->best < 0 || search_better(search, 0, *index, lane->best)) {
    lane->best = *index;
  }
  return true;
}

bool search_keeps(const struct search *search, int index) {
  return search->points[index]->reach >= 0.0;
}

bool search_better(const struct search *search, int goal, int a, int b) {
  const struct search_point *one = search->points[a];
  const struct search_point *other = search->points[b];
  bool keeps = search_keeps(search, a);
  if (keeps != search_keeps(search, b)) {
    return keeps;
  }
  if (!keeps || goal < 0) {
    return one->reach > other->reach;
  }
  return one->goals[goal] < other->goals[goal] || (isnan(other->goals[goal]) && !isnan(one->goals[goal]));
}

bool search_agrees(const struct search *search, int goal, int a, int b) {
  const struct search_point *one = search->points[a];
  const struct search_point *other = search->points[b];
  bool keeps = search_keeps(search, a);
  if (keeps != search_keeps(search, b)) {
    return false;
  }
  if (!keeps || search->question->goals[goal].of_margin) {
    return fabs(one->reach - other->reach) <= AGREE_MARGIN;
  }
  return fabs(one->goals[goal] - other->goals[goal]) <=
         AGREE_GOAL * fmax(fabs(one->goals[goal]), 1e-3 * search->question->goals[goal].size);
}

/* ---- the race of the choices ---- */

/* Better first; of equals the one with the lower number. */
static void sort_lanes(const struct search *search, int *alive, int count) {
  for (int i = 1; i < count; i++) {
    for (int k = i; k > 0 && search_better(search, 0, search->lanes[alive[k]].best, search->lanes[alive[k - 1]].best);
         k--) {
      int other = alive[k];
      alive[k] = alive[k - 1];
      alive[k - 1] = other;
    }
  }
}

static void drop(struct search *search, const int *alive, int from, int count, int round) {
  for (int i = from; i < count; i++) {
    search->lanes[alive[i]].round = round;
  }
}

static bool search_lanes(struct search *search, const int *alive, int count, int points, struct error *error) {
  for (int i = 0; i < count; i++) {
    int best = 0;
    const struct search_order order = {.from = search->lanes[alive[i]].best, .reach = FIRST_REACH, .points = points};
    if (!search_locally(search, &order, &best, error)) {
      return false;
    }
  }
  return true;
}

/* One is left, in alive[0]. */
static bool race(struct search *search, int *alive, struct error *error) {
  const struct search_question *question = search->question;
  int least = question->variables + 3;
  int count = question->choices;
  int budget = question->points / 2;
  for (int i = 0; i < count; i++) {
    int index = 0;
    alive[i] = (question->first_choice + i) % count;
    if (!search_try(search, alive[i], question->first, &index, error)) {
      return false;
    }
  }
  sort_lanes(search, alive, count);
  if (question->variables == 0 && count > 1) { /* all are known */
    drop(search, alive, 1, count, 0);
    return true;
  }
  int most = budget / (2 * least) > 2 ? budget / (2 * least) : 2;
  if (count > most) { /* more than can be searched: the best at the first settings go on */
    drop(search, alive, most, count, 0);
    count = most;
  }
  int rounds = 0;
  for (int left = count; left > 1; left = (left + 1) / 2) {
    rounds++;
  }
  for (int round = 1; count > 1; round++) {
    int share = budget / (rounds * count);
    if (!search_lanes(search, alive, count, share > least ? share : least, error)) {
      return false;
    }
    sort_lanes(search, alive, count);
    drop(search, alive, (count + 1) / 2, count, round);
    count = (count + 1) / 2;
  }
  return true;
}

/* ---- starts ---- */

static bool begin_start(struct search *search, int number, int choice, int *first, struct error *error) {
  const struct search_question *question = search->question;
  double at[SEARCH_VARIABLES] = {0.0};
  if (number == 0) { /* goes on with the best of the race */
    *first = search->lanes[choice].best;
    return true;
  }
  for (int v = 0; v < question->variables; v++) {
    at[v] = draw_latin(question->seed, (uint64_t)v, (uint64_t)question->starts, (uint64_t)number);
  }
  return search_try(search, choice, at, first, error);
}

static bool run_starts(struct search *search, int choice, struct error *error) {
  const struct search_question *question = search->question;
  int starts = question->variables > 0 ? question->starts : 1;
  for (int s = 0; s < starts; s++) {
    struct search_start *start = &search->starts[s];
    int before = search->count;
    int left = question->points - before;
    struct search_order order = {.reach = FIRST_REACH, .points = left / (starts - s)};
    if (s > 0 && order.points < question->variables + 3) { /* the points are used up */
      break;
    }
    if (!begin_start(search, s, choice, &start->first, error)) {
      return false;
    }
    order.from = start->first;
    if (!search_locally(search, &order, &start->best, error)) {
      return false;
    }
    start->points = search->count - before;
    search->start_count++;
    if (search->best < 0 || search_better(search, 0, start->best, search->best)) {
      search->best = start->best;
    }
  }
  return true;
}

bool search_find(struct search *search, struct error *error) {
  int *alive = calloc((size_t)search->question->choices, sizeof *alive);
  if (alive == NULL) {
    return no_memory(error);
  }
  bool good = race(search, alive, error) && run_starts(search, alive[0], error);
  free(alive);
  return good;
}
