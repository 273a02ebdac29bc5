#include "table_views_page.h"

#include <stdlib.h>

#include "json.h"

/* What a page can hold of one column. */
enum { ROW_LIMIT = 400000 };

static void write_numbers(struct h5_reading *reading, hid_t dataset, long count, struct json *json) {
  double *numbers = h5_reading_numbers(reading, dataset, count);
  for (long i = 0; numbers != NULL && i < count; i++) {
    json_number(json, NULL, numbers[i]);
  }
  free(numbers);
}

static void write_texts(struct h5_reading *reading, hid_t dataset, long count, struct json *json) {
  struct h5_names texts = h5_reading_texts(reading, dataset, count);
  for (int i = 0; i < texts.count; i++) {
    json_text(json, NULL, texts.items[i]);
  }
  h5_names_free(&texts);
}

static void write_group(struct h5_reading *reading, hid_t group, struct json *json) {
  struct h5_names names;
  h5_reading_names(reading, group, &names);
  for (int i = 0; i < names.count && !reading->failed; i++) {
    hid_t dataset = h5_reading_dataset(reading, group, names.items[i]);
    long count = 0;
    enum h5_kind kind = dataset >= 0 ? h5_reading_kind(reading, dataset, &count) : H5_KIND_OTHER;
    if (count > ROW_LIMIT) {
      h5_reading_fail(reading, "it has more regions than a page can show");
    } else if (kind != H5_KIND_OTHER && count >= 0) {
      json_begin_list(json, names.items[i]);
      kind == H5_KIND_TEXT ? write_texts(reading, dataset, count, json) : write_numbers(reading, dataset, count, json);
      json_end_list(json);
    }
    h5_reading_shut(dataset);
  }
  h5_names_free(&names);
}

void table_views_page_write(FILE *out, struct h5_reading *reading, bool wanted) {
  static const char *const groups[] = {"steps", "regions", "indices"};
  struct json json = {.out = out, .for_page = true};
  (void)fputs("<script type=\"application/json\" id=\"views\">", out);
  json_begin_object(&json, NULL);
  for (int i = 0; i < 3 && !reading->failed; i++) {
    hid_t group = h5_reading_group(reading, reading->file, groups[i]);
    if (group >= 0) {
      json_begin_object(&json, groups[i]);
      write_group(reading, group, &json);
      json_end_object(&json);
    } else if (i == 0 && wanted) {
      h5_reading_fail(reading, "it has no steps of what is varied, being of an earlier swashloop: 'swashloop merge "
                               "OLD.h5 -o NEW.h5' makes a table that has");
    }
    h5_reading_shut(group);
  }
  json_end_object(&json);
  (void)fputs("</script>\n", out);
}
