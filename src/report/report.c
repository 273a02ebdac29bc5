#include "report.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base64.h"
#include "draft.h"
#include "json.h"
#include "output.h"
#include "page_files.h"
#include "quantity.h"
#include "review_page.h"
#include "run_page.h"
#include "sha256.h"
#include "table_page.h"

/* Points of all curves on the page: with 6 to 7 bytes a point, in base64, one run stays below 3 MB and a comparison
 * below 5 MB. */
enum { POINTS_OF_ONE_RUN = 250000, POINTS_OF_A_COMPARISON = 450000, POINTS_OF_A_REVIEW = 400000 };

/* `'sha256-...'`, by which the page's policy lets exactly this text run. */
static void write_source_hash(FILE *out, const struct page_file *file) {
  struct sha256 hash;
  unsigned char digest[32];
  sha256_start(&hash);
  sha256_add(&hash, file->bytes, file->size);
  sha256_end(&hash, digest);
  (void)fputs(" 'sha256-", out);
  base64_write(out, digest, sizeof digest);
  (void)fputc('\'', out);
}

static void write_policy(FILE *out, unsigned use) {
  static const struct {
    const char *directive;
    enum page_file_kind kind;
  } rows[] = {{"script-src", PAGE_SCRIPT}, {"style-src", PAGE_STYLE}};
  (void)fputs("<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; base-uri 'none'; form-action "
              "'none'",
              out);
  for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
    (void)fprintf(out, "; %s", rows[r].directive);
    for (int i = 0; i < page_file_count; i++) {
      if (page_files[i].kind == rows[r].kind && (page_files[i].use & use) != 0) {
        write_source_hash(out, &page_files[i]);
      }
    }
  }
  (void)fputs("\">\n", out);
}

static void write_files(FILE *out, enum page_file_kind kind, unsigned use, const char *before, const char *after) {
  for (int i = 0; i < page_file_count; i++) {
    if (page_files[i].kind == kind && (page_files[i].use & use) != 0) {
      (void)fputs(before, out);
      (void)fwrite(page_files[i].bytes, 1, page_files[i].size, out);
      (void)fputs(after, out);
    }
  }
}

static void write_head(FILE *out, unsigned use) {
  (void)fputs("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n", out);
  write_policy(out, use);
  (void)fprintf(out, "<meta name=\"generator\" content=\"%s\">\n", output_mark(OUTPUT_PAGE));
  (void)fputs("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
              "<meta name=\"referrer\" content=\"no-referrer\">\n<title>Report</title>\n",
              out);
  write_files(out, PAGE_STYLE, use, "<style>", "</style>\n");
  (void)fputs("</head>\n", out);
}

/* What holds for the page as a whole: who made it and when, units. */
static void write_page_facts(FILE *out, const struct report_request *request, int run_count) {
  struct json json = {.out = out, .for_page = true};
  char when[32] = "";
  time_t now = time(NULL);
  struct tm parts;
  if (gmtime_r(&now, &parts) != NULL) {
    (void)strftime(when, sizeof when, "%Y-%m-%dT%H:%M:%SZ", &parts);
  }
  (void)fputs("<script type=\"application/json\" id=\"facts\">", out);
  json_begin_object(&json, NULL);
  json_text(&json, "version", SWASHLOOP_VERSION);
  json_text(&json, "made", when);
  json_text(&json, "caution", request->caution);
  json_integer(&json, "runs", run_count);
  json_begin_list(&json, "units");
  for (int q = 0; q < QUANTITY_COUNT; q++) {
    json_begin_object(&json, NULL);
    json_text(&json, "si", quantity_rows[q].si_unit);
    json_text(&json, "trade", quantity_rows[q].trade_unit);
    json_number(&json, "scale", quantity_rows[q].scale);
    json_number(&json, "offset", quantity_rows[q].offset);
    json_end_object(&json);
  }
  json_end_list(&json);
  json_end_object(&json);
  (void)fputs("</script>\n", out);
}

static bool write_runs(FILE *out, const struct report_request *request, struct error *error) {
  long point_limit = request->file_count > 1 ? POINTS_OF_A_COMPARISON / request->file_count : POINTS_OF_ONE_RUN;
  for (int r = 0; r < request->file_count; r++) {
    if (!run_page_write(out, r, request->files[r], point_limit, error)) {
      return false;
    }
  }
  return true;
}

/* Runs are reported together, a table or a review alone. `use` is of enum page_use, added up. */
static bool find_use(const struct report_request *request, unsigned *use, struct error *error) {
  *use = PAGE_FOR_RUNS;
  for (int i = 0; i < request->file_count; i++) {
    bool of_review = review_page_fits(request->files[i]);
    if (!of_review && !table_page_fits(request->files[i])) {
      continue;
    }
    *use = of_review ? PAGE_FOR_RUNS | PAGE_FOR_REVIEW : PAGE_FOR_TABLE;
    if (request->file_count > 1) {
      return error_set(error, ERROR_USAGE,
                       "%s is %s: a page tells one table, one review, or runs, but not several of these",
                       request->files[i], of_review ? "a review" : "the table of a sweep");
    }
  }
  return true;
}

static bool write_data(FILE *out, const struct report_request *request, unsigned use, struct error *error) {
  if (use == PAGE_FOR_TABLE) {
    return table_page_write(out, request->files[0], error);
  }
  return (use & PAGE_FOR_REVIEW) != 0 ? review_page_write(out, request->files[0], POINTS_OF_A_REVIEW, error)
                                      : write_runs(out, request, error);
}

static bool write_page(FILE *out, const struct report_request *request, unsigned use, struct error *error) {
  write_head(out, use);
  write_files(out, PAGE_BODY, use, "", "");
  write_page_facts(out, request, use == PAGE_FOR_RUNS ? request->file_count : 0);
  if (!write_data(out, request, use, error)) {
    return false;
  }
  write_files(out, PAGE_LICENCE, use, "<script type=\"text/plain\" id=\"licence\">", "</script>\n");
  write_files(out, PAGE_SCRIPT, use, "<script>", "</script>\n");
  (void)fputs("</body>\n</html>\n", out);
  return true;
}

static bool output_error(const char *path, struct error *error) {
  return error_set(error, ERROR_OUTPUT, "%s could not be written: %s", path, strerror(errno));
}

static bool write_draft(const struct report_request *request, const struct draft *draft, unsigned use,
                        struct error *error) {
  int descriptor = dup(draft->descriptor);
  FILE *out = descriptor >= 0 ? fdopen(descriptor, "wb") : NULL;
  if (out == NULL) {
    if (descriptor >= 0) {
      (void)close(descriptor);
    }
    return output_error(draft->part, error);
  }
  bool good = write_page(out, request, use, error);
  errno = 0;
  if (good && (fflush(out) != 0 || ferror(out) != 0)) {
    good = output_error(draft->part, error);
  }
  if (fclose(out) != 0 && good) {
    good = output_error(draft->part, error);
  }
  return good;
}

bool report_write(const struct report_request *request, struct error *error) {
  struct draft draft;
  unsigned use = 0;
  if (page_file_count == 0) {
    return error_set(error, ERROR_USAGE, "this program was built without the report (SWASHLOOP_REPORT=OFF)");
  }
  if (!find_use(request, &use, error) || !draft_open(&draft, request->output, error)) {
    return false;
  }
  bool good = write_draft(request, &draft, use, error);
  return draft_close(&draft, good ? DRAFT_NAME : DRAFT_REMOVE, error) && good;
}
