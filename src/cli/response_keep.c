#include "response_keep.h"

#include <math.h>
#include <stdio.h>

#include "answers.h"
#include "summary_limits.h"
#include "text.h"
#include "units.h"

enum { SHOWN = 48 };

static void print_range(const struct keep_parameter *parameter, const struct keep_ranges *ranges, const char *what) {
  enum quantity quantity = parameter->varied.ref.quantity;
  char first[SHOWN];
  char last[SHOWN];
  const struct keep_trial *trials = parameter->trials;
  if (ranges->chosen < 0) {
    (void)printf("  %-22s %s at none of the values tried, %s to %s\n", parameter->path, what,
                 answers_show(quantity, trials[0].value, first, SHOWN),
                 answers_show(quantity, trials[parameter->count - 1].value, last, SHOWN));
    return;
  }
  const struct keep_range *range = &ranges->at[ranges->chosen];
  (void)printf("  %-22s %s from %s%s to %s%s", parameter->path, what, answers_show(quantity, range->low, first, SHOWN),
               range->low_open ? " (least tried)" : "", answers_show(quantity, range->high, last, SHOWN),
               range->high_open ? " (most tried)" : "");
  char as_is[SHOWN];
  (void)printf("; it is %s", answers_show(quantity, parameter->varied.value, as_is, SHOWN));
  if (ranges->count > 1) {
    (void)printf("; one of %d ranges, the others are in the file", ranges->count);
  }
  (void)printf("\n");
}

/* "+3.2 bar" */
static const char *with_sign(enum quantity quantity, double value, char *buffer, int size) {
  char amount[SHOWN];
  units_show(quantity, fabs(value), amount, SHOWN);
  (void)snprintf(buffer, (size_t)size, "%s%s", value < 0.0 ? "-" : "+", amount);
  return buffer;
}

static void print_parts(const struct keep *keep) {
  char shown_part[2 * SHOWN];
  if (isnan(keep->parts[KEEP_PART_valve_lag])) {
    (void)printf("\nWhat the peak is made of: none, %s\n", keep->part_absent[KEEP_PART_valve_lag]);
    return;
  }
  (void)printf("\nWhat the peak is made of\n");
  for (int i = 0; i < KEEP_PART_COUNT; i++) {
    (void)printf("  %-18s %12s   %s\n", keep_part_rows[i].name,
                 with_sign(QUANTITY_PRESSURE, keep->parts[i], shown_part, (int)sizeof shown_part),
                 keep_part_rows[i].text);
  }
}

static void print_what_ifs(const struct keep *keep) {
  char amount[SHOWN];
  char change[2 * SHOWN];
  (void)printf("\nWhat if: worst %s\n", keep->limit.keep.name);
  for (int i = 0; i < KEEP_WHAT_IF_COUNT; i++) {
    double value = keep->what_ifs[i];
    if (isnan(value)) {
      (void)printf("  %-12s %-14s %s: %s\n", "none", "", keep_what_if_texts[i], keep->what_if_absent[i]);
    } else {
      (void)printf("  %-12s %-14s %s\n", units_show(keep->quantity, value, amount, SHOWN),
                   i == KEEP_as_is
                       ? ""
                       : with_sign(keep->quantity, value - keep->what_ifs[KEEP_as_is], change, (int)sizeof change),
                   keep_what_if_texts[i]);
    }
  }
}

void response_keep_print(const struct keep *keep, const struct case_data *data, const char *output) {
  struct paint paint = paint_for(stdout);
  char margin[SHOWN];
  (void)printf("%s%s%s   %s\n\n", paint.strong, shown(data->title).text, paint.plain, shown(keep->limit.text).text);
  summary_limits(stdout, &paint, data, &keep->outcome);
  if (isnan(keep->margin)) {
    (void)printf("\nNo margin: the limit is not judged\n");
  } else {
    (void)printf("\nMargin %s%s\n", units_show(keep->quantity, keep->margin, margin, SHOWN),
                 keep->margin < 0.0 ? ": the valve does not keep it" : "");
  }
  (void)printf("\nHow far the valve may go\n");
  for (int i = 0; i < keep->parameter_count; i++) {
    print_range(&keep->parameters[i], &keep->parameters[i].kept, "keeps it");
  }
  if (data->limit_count > 1) {
    (void)printf("and with the limits of the case\n");
    for (int i = 0; i < keep->parameter_count; i++) {
      print_range(&keep->parameters[i], &keep->parameters[i].all_kept, "keeps all");
    }
  }
  (void)printf(
      "Ends are kept; a range ends within 0.2 %% (a setting: 0.1 bar) of them. Between two of the 21 values tried\n"
      "first no more is seen than one change. %d runs.\n",
      keep->runs);
  print_parts(keep);
  print_what_ifs(keep);
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(output).text, shown(output).text);
}

static void json_ranges(struct json *json, const char *key, const struct keep_ranges *ranges) {
  json_begin_object(json, key);
  const struct keep_range *chosen = ranges->chosen >= 0 ? &ranges->at[ranges->chosen] : NULL;
  json_number(json, "from", chosen != NULL ? chosen->low : NAN);
  json_number(json, "to", chosen != NULL ? chosen->high : NAN);
  json_bool(json, "from_is_least_tried", chosen != NULL && chosen->low_open);
  json_bool(json, "to_is_most_tried", chosen != NULL && chosen->high_open);
  if (chosen == NULL) {
    json_text(json, "reason", "no value tried holds");
  }
  json_integer(json, "count", ranges->count);
  json_begin_list(json, "ranges");
  for (int i = 0; i < ranges->count && i < KEEP_RANGES; i++) {
    json_begin_object(json, NULL);
    json_number(json, "from", ranges->at[i].low);
    json_number(json, "to", ranges->at[i].high);
    json_end_object(json);
  }
  json_end_list(json);
  json_end_object(json);
}

static void json_value(struct json *json, const char *name, double value, enum quantity quantity, const char *text,
                       const char *reason) {
  json_begin_object(json, name);
  json_number(json, "value", value);
  json_text(json, "unit", quantity_rows[quantity].si_unit);
  json_text(json, "text", text);
  if (isnan(value)) {
    json_text(json, "reason", reason);
  }
  json_end_object(json);
}

static void json_parameter(struct json *json, const struct keep_parameter *parameter) {
  json_begin_object(json, parameter->path);
  json_number(json, "value", parameter->varied.value);
  json_text(json, "unit", quantity_rows[parameter->varied.ref.quantity].si_unit);
  json_number(json, "bracket", parameter->bracket);
  json_text(json, "bracket_is", parameter->in_share ? "share of the value" : "Pa");
  json_ranges(json, "kept", &parameter->kept);
  json_ranges(json, "all_kept", &parameter->all_kept);
  json_begin_list(json, "runs");
  for (int i = 0; i < parameter->count; i++) {
    const struct keep_trial *trial = &parameter->trials[i];
    json_begin_object(json, NULL);
    json_number(json, "value", trial->value);
    json_number(json, "worst", trial->worst);
    json_text(json, "result", limit_verdict_names[trial->verdict]);
    json_bool(json, "all_kept", trial->verdict == LIMIT_KEPT && trial->all_kept);
    if (isnan(trial->worst)) {
      json_text(json, "reason", trial->why);
    }
    json_end_object(json);
  }
  json_end_list(json);
  json_end_object(json);
}

void response_keep_json(const struct keep *keep, const struct case_data *data, const char *output) {
  struct json json = {.out = stdout};
  const char *unjudged = keep->outcome.limits[keep->limit_index].why;
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "answer", "keep");
  json_text(&json, "limit", keep->limit.text);
  json_value(&json, "level", keep->limit.keep.level, keep->quantity, "of the limit", "");
  json_value(&json, "worst", keep->worst, keep->quantity, "worst value of what it names", unjudged);
  json_value(&json, "margin", keep->margin, keep->quantity, "what is left to the level; less than zero: broken",
             unjudged);
  json_begin_object(&json, "parameters");
  for (int i = 0; i < keep->parameter_count; i++) {
    json_parameter(&json, &keep->parameters[i]);
  }
  json_end_object(&json);
  json_begin_object(&json, "parts");
  for (int i = 0; i < KEEP_PART_COUNT; i++) {
    json_value(&json, keep_part_rows[i].name, keep->parts[i], QUANTITY_PRESSURE, keep_part_rows[i].text,
               keep->part_absent[i]);
  }
  json_end_object(&json);
  json_begin_object(&json, "what_if");
  for (int i = 0; i < KEEP_WHAT_IF_COUNT; i++) {
    json_value(&json, keep_what_if_names[i], keep->what_ifs[i], keep->quantity, keep_what_if_texts[i],
               keep->what_if_absent[i]);
  }
  json_end_object(&json);
  json_integer(&json, "run_count", keep->runs);
  summary_json_limits(&json, data, &keep->outcome);
  answers_json_end(&json, output);
}
