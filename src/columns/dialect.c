/* How a text file of columns is laid out. A separator is judged by the lines that it cuts into equally many cells, most
 * of them numbers; the heading is the last line above these. */
#include "columns.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "instants.h"
#include "unit_words.h"

enum { SAMPLE_LINES = 1000, SAMPLE_BYTES = 4000000 };

static const char separators[] = {'\t', ';', ',', ' '};
enum { SEPARATORS = (int)sizeof separators };

/* The first lines that are no remark, and the last remark above each. */
struct sample {
  struct line *lines;
  struct line *remarks; /* `start` NULL: none */
  int count;
  struct cell *cells; /* room for one line */
};

/* What a separator makes of a line. */
struct cut {
  int cells;
  int numbers; /* numbers, dates and times of day */
  int gaps;
};

static bool is_instant(const struct cell *cell) {
  struct instant instant;
  return instant_read(cell->text, cell->length, &instant);
}

/* Is there something to calculate with? A number, a date, a time of day. */
static bool is_number(const struct cell *cell) {
  double value;
  return cell_read(cell, DECIMAL_UNKNOWN, &value) == CELL_NUMBER || is_instant(cell);
}

static struct cut cut_of(const struct sample *sample, int line, char separator) {
  struct cut cut = {0};
  cut.cells = line_cut(&sample->lines[line], separator, sample->cells, COLUMNS_LIMIT);
  for (int i = 0; i < cut.cells && i < COLUMNS_LIMIT; i++) {
    double value;
    if (is_number(&sample->cells[i])) {
      cut.numbers++;
    } else {
      cut.gaps += cell_read(&sample->cells[i], DECIMAL_UNKNOWN, &value) == CELL_GAP;
    }
  }
  /* An empty cell behind the last separator is none. */
  if (cut.cells > 1 && cut.cells <= COLUMNS_LIMIT && sample->cells[cut.cells - 1].length == 0 && separator != ' ') {
    cut.cells--;
    cut.gaps--;
  }
  return cut;
}

/* More numbers than words; with `half`: no fewer. */
static bool is_row(struct cut cut, bool half) {
  int filled = cut.cells - cut.gaps;
  return cut.numbers > 0 && (half ? 2 * cut.numbers >= filled : 2 * cut.numbers > filled);
}

/* How many cells the rows have, and how well the separator does. */
struct layout {
  int cells; /* 0: there is no row */
  double score;
};

/* The number of cells in which the most numbers lie, those below a heading of as many counted twice; `width_numbers`
 * has a place for each. */
static int common_width(const struct cut *cuts, int count, bool half, int *width_numbers) {
  int best = 0;
  memset(width_numbers, 0, (COLUMNS_LIMIT + 1) * sizeof *width_numbers);
  for (int i = 0; i < count; i++) {
    if (cuts[i].cells <= COLUMNS_LIMIT && is_row(cuts[i], half)) {
      width_numbers[cuts[i].cells] += cuts[i].numbers;
    }
  }
  for (int i = 0; i < count; i++) {
    int width = cuts[i].cells;
    if (width <= COLUMNS_LIMIT && width_numbers[width] > 0 && !is_row(cuts[i], half)) {
      width_numbers[width] = -2 * width_numbers[width]; /* once only */
    }
  }
  for (int width = 1; width <= COLUMNS_LIMIT; width++) {
    width_numbers[width] = abs(width_numbers[width]);
    best = width_numbers[width] > width_numbers[best] ? width : best;
  }
  return width_numbers[best] > 0 ? best : 0;
}

static struct layout judge(const struct cut *cuts, int count, bool blanks, int *width_numbers) {
  bool half = false;
  struct layout layout = {common_width(cuts, count, half, width_numbers), 0.0};
  if (layout.cells == 0) {
    half = true;
    layout.cells = common_width(cuts, count, half, width_numbers);
  }
  bool headed = false;
  bool rows = false;
  for (int i = 0; i < count; i++) {
    if (cuts[i].cells != layout.cells) {
      continue;
    }
    if (!is_row(cuts[i], half)) {
      headed = headed || !rows;
      continue;
    }
    rows = true;
    int filled = cuts[i].cells - cuts[i].gaps;
    layout.score += (double)cuts[i].numbers * cuts[i].numbers / filled;
  }
  if (layout.cells < 2) {
    layout.score = 0.0;
  } else if (headed) {
    layout.score *= 2.0;
  }
  if (blanks && layout.score > 0.0) {
    /* A text of words has blanks as well. */
    bool two = false;
    for (int i = 0; i < count; i++) {
      two = two || (cuts[i].cells == layout.cells && cuts[i].numbers >= 2);
    }
    layout.score = two ? layout.score : 0.0;
  }
  return layout;
}

/* Of a table of words alone: what cuts most in its first line. */
static char separator_of_words(const struct sample *sample) {
  char best = ',';
  int most = 1;
  for (int s = 0; s < SEPARATORS && separators[s] != ' '; s++) {
    int cells = line_cut(&sample->lines[0], separators[s], sample->cells, COLUMNS_LIMIT);
    if (cells > most) {
      most = cells;
      best = separators[s];
    }
  }
  return best;
}

/* The separator into columns->separator; returns how many cells the rows have, 0: none has a number; -1: no memory. */
static int find_separator(struct columns *columns, const struct sample *sample) {
  struct cut *cuts = calloc((size_t)sample->count + 1, sizeof *cuts);
  int *width_numbers = calloc(COLUMNS_LIMIT + 1, sizeof *width_numbers);
  struct layout best = {0, 0.0};
  columns->separator = separator_of_words(sample);
  for (int s = 0; s < SEPARATORS && cuts != NULL && width_numbers != NULL; s++) {
    for (int i = 0; i < sample->count; i++) {
      cuts[i] = cut_of(sample, i, separators[s]);
    }
    struct layout layout = judge(cuts, sample->count, separators[s] == ' ', width_numbers);
    if (layout.score > best.score || (best.score == 0.0 && separators[s] == columns->separator)) {
      best = layout;
      columns->separator = separators[s];
    }
  }
  bool memory = cuts != NULL && width_numbers != NULL;
  free(cuts);
  free(width_numbers);
  return memory ? best.cells : -1;
}

/* ---- heading and rows ---- */

/* Which columns hold numbers: in half of the lines of that width, below the first, and in one at least. Returns the
 * first such column, -1: none. */
static int find_number_columns(const struct columns *columns, const struct sample *sample, int width, bool *numbers) {
  int first = -1;
  int *counts = calloc((size_t)width, sizeof *counts);
  int lines = 0;
  for (int i = 0; counts != NULL && i < sample->count; i++) {
    struct cut cut = cut_of(sample, i, columns->separator);
    if (cut.cells == width && cut.numbers > 0) {
      lines++;
      for (int c = 0; c < width; c++) {
        double value;
        counts[c] += is_number(&sample->cells[c]) ||
                     (sample->cells[c].length > 0 && cell_read(&sample->cells[c], DECIMAL_UNKNOWN, &value) == CELL_GAP);
      }
    }
  }
  for (int c = width - 1; counts != NULL && c >= 0; c--) {
    numbers[c] = counts[c] > 0 && 2 * counts[c] >= lines;
    first = numbers[c] ? c : first;
  }
  free(counts);
  return first;
}

/* The first line whose number columns hold numbers, most of them at least and the first of them. */
static int first_row(const struct columns *columns, const struct sample *sample, int width, const bool *numbers,
                     int first) {
  for (int i = 0; i < sample->count; i++) {
    struct cut cut = cut_of(sample, i, columns->separator);
    double value;
    if (cut.cells != width || cut.numbers == 0) {
      continue;
    }
    int wanted = 0;
    int there = 0;
    for (int c = 0; c < width; c++) {
      bool gap = cell_read(&sample->cells[c], DECIMAL_UNKNOWN, &value) == CELL_GAP;
      wanted += numbers[c];
      there += numbers[c] && (gap || is_number(&sample->cells[c]));
    }
    bool leads =
        is_number(&sample->cells[first]) || cell_read(&sample->cells[first], DECIMAL_UNKNOWN, &value) == CELL_GAP;
    if (leads && 2 * there > wanted) {
      return i;
    }
  }
  return -1;
}

/* A line of nothing but units, one at least. */
static bool is_units_row(const struct sample *sample, int line, char separator) {
  int count = line_cut(&sample->lines[line], separator, sample->cells, COLUMNS_LIMIT);
  int units = 0;
  for (int c = 0; c < count && c < COLUMNS_LIMIT; c++) {
    char text[COLUMNS_NAME];
    if (sample->cells[c].length == 0) {
      continue;
    }
    if (!cell_copy(&sample->cells[c], text, sizeof text) || !unit_word_known(text)) {
      return false;
    }
    units += strcmp(text, "-") != 0;
  }
  return units > 0;
}

/* The headings from a line; trailing empty ones are none. */
static bool read_headings(struct columns *columns, const struct line *line) {
  int count = line_cut(line, columns->separator, columns->cells, COLUMNS_LIMIT);
  if (count > COLUMNS_LIMIT) {
    return error_at(columns->error, columns->file, line->number, 1, "more than %d columns", COLUMNS_LIMIT);
  }
  while (count > 1 && columns->cells[count - 1].length == 0) {
    count--;
  }
  columns->headings = calloc((size_t)count, sizeof *columns->headings);
  if (columns->headings == NULL) {
    return error_set(columns->error, ERROR_MEMORY, "no memory for %s", columns->file);
  }
  columns->count = count;
  columns->heading_line = line->number;
  for (int c = 0; c < count; c++) {
    char text[COLUMNS_NAME];
    struct heading *heading = &columns->headings[c];
    if (!cell_copy(&columns->cells[c], text, sizeof text)) {
      return error_at(columns->error, columns->file, line->number, line_column(line, columns->cells[c].text),
                      "the name of this column is too long");
    }
    heading_read(text, heading);
    heading->column = line_column(line, columns->cells[c].text);
  }
  return true;
}

static bool number_headings(struct columns *columns, int width) {
  columns->headings = calloc((size_t)width, sizeof *columns->headings);
  if (columns->headings == NULL) {
    return error_set(columns->error, ERROR_MEMORY, "no memory for %s", columns->file);
  }
  columns->count = width;
  for (int c = 0; c < width; c++) {
    (void)snprintf(columns->headings[c].name, COLUMNS_NAME, "column_%d", c + 1);
    (void)snprintf(columns->headings[c].whole, COLUMNS_NAME, "%s", columns->headings[c].name);
    columns->headings[c].column = 1;
  }
  told_add(&columns->told, "no line names the columns, they are column_1 to column_%d", width);
  return true;
}

/* A remark that names as many columns as the rows have, as in "# t [s]  p [bar]". */
static bool heading_of_remark(struct columns *columns, const struct line *remark, int width, bool *found) {
  *found = false;
  if (remark->start == NULL) {
    return true;
  }
  struct line rest = *remark;
  while (rest.length > 0 && strchr("#%/ \t", rest.start[0]) != NULL) {
    rest.start++;
    rest.length--;
  }
  *found = line_cut(&rest, columns->separator, columns->cells, COLUMNS_LIMIT) == width && width > 1;
  for (int c = 0; *found && c < width; c++) {
    *found = columns->cells[c].length > 0 && !is_number(&columns->cells[c]);
  }
  if (!*found) {
    return true;
  }
  if (!read_headings(columns, &rest)) {
    return false;
  }
  told_add(&columns->told, "the names of the columns are read from the remark in line %d", remark->number);
  return true;
}

static void read_units(struct columns *columns, const struct line *line) {
  int count = line_cut(line, columns->separator, columns->cells, COLUMNS_LIMIT);
  for (int c = 0; c < count && c < columns->count; c++) {
    char text[COLUMNS_NAME];
    struct heading *heading = &columns->headings[c];
    if (heading->unit[0] == '\0' && columns->cells[c].length > 0 && cell_copy(&columns->cells[c], text, sizeof text)) {
      (void)snprintf(heading->unit, sizeof heading->unit, "%s", text);
    }
  }
  told_add(&columns->told, "line %d read as the units", line->number);
}

/* Heading, units and the place of the first row. */
static bool find_heading(struct columns *columns, const struct sample *sample, int width) {
  int row = -1;
  if (width > 0) {
    bool *numbers = calloc((size_t)width, sizeof *numbers);
    if (numbers == NULL) {
      return error_set(columns->error, ERROR_MEMORY, "no memory for %s", columns->file);
    }
    int first = find_number_columns(columns, sample, width, numbers);
    row = first >= 0 ? first_row(columns, sample, width, numbers, first) : -1;
    free(numbers);
  }
  int heading = row < 0 ? 0 : row - 1;
  int units = -1;
  if (row >= 2 && is_units_row(sample, row - 1, columns->separator) &&
      line_cut(&sample->lines[row - 2], columns->separator, sample->cells, COLUMNS_LIMIT) > 1) {
    units = row - 1;
    heading = row - 2;
  }
  const struct line *last = row < 0 ? &sample->lines[0] : row > 0 ? &sample->lines[row - 1] : NULL;
  bool found = heading >= 0;
  if (found && !read_headings(columns, &sample->lines[heading])) {
    return false;
  }
  if (!found && !heading_of_remark(columns, &sample->remarks[0], width, &found)) {
    return false;
  }
  if (!found && columns->kind == COLUMNS_OF_A_CASE) {
    return error_at(columns->error, columns->file, sample->lines[0].number, 1,
                    "found numbers, expected a line 'NAME [UNIT], NAME [UNIT]' above them");
  }
  if (!found && !number_headings(columns, width)) {
    return false;
  }
  if (units >= 0) {
    read_units(columns, &sample->lines[units]);
  }
  if (heading > 0) {
    told_add(&columns->told,
             heading == 1 ? "a line above the heading in line %d skipped"
                          : "lines above the heading in line %d skipped",
             columns->heading_line);
  }
  /* Rows begin behind heading and units. */
  columns->lines.end = columns->decoded.text + columns->decoded.length;
  columns->lines.at = columns->decoded.text;
  columns->lines.number = 1;
  struct line line = {0};
  while (last != NULL && line.number < last->number && lines_next(&columns->lines, &line)) {
  }
  return true;
}

/* ---- the whole ---- */

static bool take_sample(struct columns *columns, struct sample *sample) {
  sample->lines = calloc(SAMPLE_LINES, sizeof *sample->lines);
  sample->remarks = calloc(SAMPLE_LINES, sizeof *sample->remarks);
  sample->cells = calloc(COLUMNS_LIMIT, sizeof *sample->cells);
  if (sample->lines == NULL || sample->remarks == NULL || sample->cells == NULL) {
    return error_set(columns->error, ERROR_MEMORY, "no memory for %s", columns->file);
  }
  const char *text = columns->decoded.text;
  struct lines lines = {text, text + columns->decoded.length, 1};
  struct line line;
  struct line remark = {0};
  while (sample->count < SAMPLE_LINES && lines.at < text + SAMPLE_BYTES && lines_next(&lines, &line)) {
    if (line_is_remark(&line)) {
      remark = line;
    } else if (!line_is_empty(&line)) {
      sample->remarks[sample->count] = remark;
      sample->lines[sample->count++] = line;
    }
  }
  return true;
}

/* The sign of the decimals in the columns of numbers, by the first cell that has one. */
static void find_decimal(struct columns *columns, const struct sample *sample) {
  for (int i = 0; i < sample->count && columns->decimal == DECIMAL_UNKNOWN; i++) {
    if (sample->lines[i].number <= columns->heading_line) {
      continue;
    }
    int count = line_cut(&sample->lines[i], columns->separator, sample->cells, COLUMNS_LIMIT);
    for (int c = 0; c < count && c < COLUMNS_LIMIT && columns->decimal == DECIMAL_UNKNOWN; c++) {
      double value;
      if (cell_read(&sample->cells[c], DECIMAL_UNKNOWN, &value) == CELL_NUMBER) {
        columns->decimal = cell_decimal(&sample->cells[c]);
      }
    }
  }
}

static void tell_layout(struct columns *columns) {
  if (columns->decoded.encoding != ENCODING_UTF8) {
    told_add(&columns->told, "read as %s", encoding_names[columns->decoded.encoding]);
  }
  if (columns->separator != ',') {
    told_add(&columns->told, "columns parted by %s",
             columns->separator == ';'    ? "semicolons"
             : columns->separator == '\t' ? "tabs"
                                          : "blanks");
  }
  if (columns->decimal == DECIMAL_COMMA) {
    told_add(&columns->told, "decimals with a comma");
  }
}

bool dialect_find(struct columns *columns) {
  struct sample sample = {0};
  bool good = take_sample(columns, &sample);
  if (good && sample.count > 0) {
    int width = find_separator(columns, &sample);
    columns->cells = calloc(COLUMNS_LIMIT, sizeof *columns->cells);
    if (width < 0 || columns->cells == NULL) {
      good = error_set(columns->error, ERROR_MEMORY, "no memory for %s", columns->file);
    }
    struct told layout = columns->told;
    good = good && find_heading(columns, &sample, width);
    if (good) {
      struct told heading = columns->told;
      find_decimal(columns, &sample);
      columns->told = layout;
      tell_layout(columns);
      if (heading.text[0] != '\0') {
        told_add(&columns->told, "%s", heading.text);
      }
    }
  }
  free(sample.lines);
  free(sample.remarks);
  free(sample.cells);
  return good;
}
