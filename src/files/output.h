/* What may be written over what. Every file of this program carries a mark of its kind near its start; only a file of
 * the same kind is replaced without being asked for, and never one that the command reads. */
#ifndef SWASHLOOP_FILES_OUTPUT_H
#define SWASHLOOP_FILES_OUTPUT_H

#include <stdbool.h>

#include "error.h"
#include "input_file.h"

/* id, word of the mark, for people, replaced by another of its kind without being asked for */
#define OUTPUT_LIST(OUTPUT)                                                                                            \
  OUTPUT(RUN, "run", "run file", true)                                                                                 \
  OUTPUT(TABLE, "table", "table of a sweep", false)                                                                    \
  OUTPUT(ANSWER, "answer", "file of an analysis", true)                                                                \
  OUTPUT(PAGE, "page", "page of a report", true)

enum output_kind {
#define OUTPUT_ID(id, word, text, replaced) OUTPUT_##id,
  OUTPUT_LIST(OUTPUT_ID)
#undef OUTPUT_ID
      OUTPUT_KIND_COUNT
};

/* "swashloop output: run", to stand near the start of a file. */
const char *output_mark(enum output_kind kind);
/* Does the open file carry a mark of any kind? */
bool output_made_here(int descriptor);

struct output {
  const char *path;
  enum output_kind kind;
  bool force; /* replace whatever file is there, but for what is read */
  bool again; /* what is there of this kind is taken up: it may be replaced */
};

/* Bytes that are free on the disk where the file comes to lie; HUGE_VAL: not known. */
double output_room(const char *path);
/* May it be written? `named` are paths that the command reads, `read` are files that it has read. */
bool output_check(const struct output *output, const char *const *named, int named_count, const struct input_file *read,
                  struct error *error);

#endif
