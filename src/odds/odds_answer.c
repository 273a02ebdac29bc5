#include "odds_answer.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "axis_label.h"

static const char any_limit[] = "any limit";

/* How many parts the distribution of an axis is looked at in: a value each where it has few. */
static int part_count(const struct axis *axis) {
  return axis->kind == AXIS_LIST && axis->count <= ODDS_PARTS_MOST ? (int)axis->count : ODDS_PARTS;
}

static void name_inputs(struct odds_answer *answer) {
  const struct plan *plan = &answer->review->plan;
  for (int i = 0; i < answer->input_count; i++) {
    const struct axis *axis = &plan->axes[i];
    struct odds_input *input = &answer->inputs[i];
    char label[AXIS_LABEL_SIZE];
    input->path = axis->path;
    input->part_count = part_count(axis);
    (void)snprintf(input->label, sizeof input->label, "%s",
                   axis_label(plan_base_case(plan, 0), axis->path, &axis->refs[0], label));
    for (int p = 0; p < answer->probability_count; p++) {
      struct odds_part *parts = odds_parts(answer, p, i);
      for (int b = 0; b < input->part_count; b++) {
        parts[b].share_low = (double)b / input->part_count;
        parts[b].share_high = (double)(b + 1) / input->part_count;
        parts[b].centre = axis_of_share(axis, (b + 0.5) / input->part_count);
      }
    }
  }
}

bool odds_answer_open(struct odds_answer *answer, const struct review *review, const struct odds_question *question,
                      struct error *error) {
  size_t probabilities = (size_t)review->limit_count + 1;
  size_t inputs = (size_t)review->plan.axis_count;
  *answer = (struct odds_answer){.review = review,
                                 .seed = question->seed,
                                 .most = question->rule.most,
                                 .width = question->rule.width,
                                 .reached = 1.0,
                                 .probability_count = (int)probabilities,
                                 .input_count = (int)inputs};
  answer->probabilities = calloc(probabilities, sizeof *answer->probabilities);
  answer->inputs = calloc(inputs + 1, sizeof *answer->inputs);
  answer->drivers = calloc(probabilities * inputs + 1, sizeof *answer->drivers);
  answer->parts = calloc(probabilities * inputs * ODDS_PARTS_MOST + 1, sizeof *answer->parts);
  if (answer->probabilities == NULL || answer->inputs == NULL || answer->drivers == NULL || answer->parts == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the odds");
  }
  for (size_t p = 0; p < probabilities; p++) {
    answer->probabilities[p].sentence = p == 0 ? any_limit : review->limits[p - 1].sentence;
    answer->probabilities[p].odds = fate_odds_of(&answer->probabilities[p].counts);
  }
  name_inputs(answer);
  return true;
}

void odds_answer_free(struct odds_answer *answer) {
  free(answer->probabilities);
  free(answer->inputs);
  free(answer->drivers);
  free(answer->parts);
  *answer = (struct odds_answer){0};
}

struct odds_part *odds_parts(const struct odds_answer *answer, int probability, int input) {
  return answer->parts + ((size_t)probability * (size_t)answer->input_count + (size_t)input) * ODDS_PARTS_MOST;
}

const struct driver *odds_driver(const struct odds_answer *answer, int probability, int input) {
  return &answer->drivers[(size_t)probability * (size_t)answer->input_count + (size_t)input];
}

const char *odds_value_words(const struct odds_answer *answer, int input, double share, char *buffer, int size) {
  const struct axis *axis = &answer->review->plan.axes[input];
  return parameter_ref_show(&axis->refs[0], axis_of_share(axis, share), buffer, size);
}

int odds_first_input(const struct odds_answer *answer, int probability) {
  int first = -1;
  double most = -INFINITY;
  for (int i = 0; i < answer->input_count; i++) {
    const struct driver *driver = odds_driver(answer, probability, i);
    double weight = !isnan(driver->index) ? driver->index : fabs(driver->broken_mean - 0.5);
    if (weight > most) {
      most = weight;
      first = i;
    }
  }
  return first;
}
