/* Options of a command: declared as rows, read into a request, printed as help. A command declares its `struct
 * request`, the rows over it, and a table of them with the words of its help; nothing else is written to read or to
 * explain them. */
#ifndef SWASHLOOP_CLI_OPTIONS_H
#define SWASHLOOP_CLI_OPTIONS_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "output.h"
#include "quantity.h"

/* Words of the command line, in their order; they lie in the arguments, the list itself is freed by words_free. */
struct words {
  const char **list;
  int count;
};

/* Keeps a word (not a copy); false: memory is out. words_free gives the list back. */
bool words_add(struct words *words, const char *word, struct error *error);
void words_free(struct words *words);

/* What a request of any command begins with, as its first member named `asked`. */
struct asked {
  const char *file; /* the case, or whatever the command looks at */
  const char *output;
  bool force;         /* replace what is there under the name of the output, whatever it is */
  struct words reads; /* every file named on the command line */
  const char *ending; /* of the name that `output` has by default; NULL: nothing is written unless it is asked for */
  struct words sets;
  bool json;
  bool quiet;
  bool help;
};

enum option_kind {
  OPTION_KIND_FLAG,       /* bool */
  OPTION_KIND_TEXT,       /* const char * */
  OPTION_KIND_INPUT,      /* the same, a file that is read */
  OPTION_KIND_OUTPUT,     /* the same, a file that is written */
  OPTION_KIND_WORDS,      /* struct words: may stand several times */
  OPTION_KIND_AMOUNT,     /* double, SI, within bounds */
  OPTION_KIND_ANY_AMOUNT, /* double, SI */
  OPTION_KIND_JOBS,       /* int, threads: 1 to `high` */
  OPTION_KIND_READ,       /* by a function of the command's own */
  OPTION_KIND_HELP        /* nothing behind it is read */
};

struct option_row {
  const char *name;  /* without the dashes */
  char letter;       /* short form, '\0' for none */
  const char *value; /* what stands for its value in the help; NULL: takes none */
  const char *text;
  enum option_kind kind;
  size_t place; /* of the member in the request */
  enum quantity quantity;
  double low;  /* SI */
  double high; /* SI */
  bool (*read)(void *request, const char *text, struct error *error);
};

/* Rows over the members of `struct request`. */
#define OPTION_FLAG(NAME, MEMBER, TEXT)                                                                                \
  { .name = (NAME), .text = (TEXT), .kind = OPTION_KIND_FLAG, .place = offsetof(struct request, MEMBER) }
#define OPTION_TEXT(NAME, LETTER, VALUE, MEMBER, TEXT)                                                                 \
  {                                                                                                                    \
    .name = (NAME), .letter = (LETTER), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_TEXT,                    \
    .place = offsetof(struct request, MEMBER)                                                                          \
  }
#define OPTION_INPUT(NAME, LETTER, VALUE, MEMBER, TEXT)                                                                \
  {                                                                                                                    \
    .name = (NAME), .letter = (LETTER), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_INPUT,                   \
    .place = offsetof(struct request, MEMBER)                                                                          \
  }
#define OPTION_WORDS(NAME, LETTER, VALUE, MEMBER, TEXT)                                                                \
  {                                                                                                                    \
    .name = (NAME), .letter = (LETTER), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_WORDS,                   \
    .place = offsetof(struct request, MEMBER)                                                                          \
  }
#define OPTION_AMOUNT(NAME, VALUE, MEMBER, QUANTITY, LOW, HIGH, TEXT)                                                  \
  {                                                                                                                    \
    .name = (NAME), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_AMOUNT,                                      \
    .place = offsetof(struct request, MEMBER), .quantity = QUANTITY_##QUANTITY, .low = (LOW), .high = (HIGH)           \
  }
#define OPTION_ANY_AMOUNT(NAME, VALUE, MEMBER, QUANTITY, TEXT)                                                         \
  {                                                                                                                    \
    .name = (NAME), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_ANY_AMOUNT,                                  \
    .place = offsetof(struct request, MEMBER), .quantity = QUANTITY_##QUANTITY                                         \
  }
#define OPTION_READ(NAME, LETTER, VALUE, FUNCTION, TEXT)                                                               \
  { .name = (NAME), .letter = (LETTER), .value = (VALUE), .text = (TEXT), .kind = OPTION_KIND_READ, .read = (FUNCTION) }
/* Those that many commands have. */
#define OPTION_OUTPUT(TEXT)                                                                                            \
  {.name = "output",                                                                                                   \
   .letter = 'o',                                                                                                      \
   .value = "FILE",                                                                                                    \
   .text = (TEXT),                                                                                                     \
   .kind = OPTION_KIND_OUTPUT,                                                                                         \
   .place = offsetof(struct request, asked.output)},                                                                   \
      OPTION_FLAG("force", asked.force, "replace FILE though it is a finished table, or no file of this program")
#define OPTION_SET                                                                                                     \
  OPTION_WORDS("set", '\0', "PATH=VALUE", asked.sets,                                                                  \
               "change a parameter after the case is read; may stand several times")
#define OPTION_JSON(TEXT) OPTION_FLAG("json", asked.json, TEXT)
#define OPTION_JOBS(MEMBER, MOST, TEXT)                                                                                \
  {                                                                                                                    \
    .name = "jobs", .letter = 'j', .value = "N", .text = (TEXT), .kind = OPTION_KIND_JOBS,                             \
    .place = offsetof(struct request, MEMBER), .high = (MOST)                                                          \
  }
#define OPTION_QUIET OPTION_FLAG("quiet", asked.quiet, "print nothing but errors")
#define OPTION_HELP                                                                                                    \
  {                                                                                                                    \
    .name = "help", .letter = 'h', .text = "print this", .kind = OPTION_KIND_HELP,                                     \
    .place = offsetof(struct request, asked.help)                                                                      \
  }

enum { JOB_LIMIT = 4096 }; /* threads of a command that runs many cases */

struct option_table {
  const struct option_row *rows;
  int row_count;
  const char *head; /* of the help, above the options */
  const char *tail; /* below them */
  const char *one;  /* what the one word that is no option names: "study"; NULL: "case" */
  /* A word that is no option; NULL: there is one only, `asked.file`. */
  bool (*take_word)(void *request, const char *word, struct error *error);
};

/* The help is asked for: only `help` counts then. Whatever is returned, free what was read with options_free. */
bool options_read(const struct option_table *table, int argument_count, char **arguments, void *request,
                  struct error *error);
void options_free(const struct option_table *table, void *request);
void options_help(const struct option_table *table);

/* The value of the option `name` as an amount within bounds (SI), or fail naming the option. */
bool option_amount(const char *name, enum quantity quantity, const char *text, double low, double high, double *si,
                   struct error *error);
/* "012" to 12: a whole number within bounds, digits alone. */
bool option_whole(const char *text, int64_t low, int64_t high, int64_t *value);
/* Threads: as many as were asked for, else as there are processors that this process may use, JOB_LIMIT at most. */
int option_threads(int asked);
/* The command line as typed, for a file's history; to be freed. NULL when memory is out. */
char *option_command_line(const char *command, int argument_count, char **arguments);
/* "cases/downhill.yaml", ".h5" to "downhill.h5", to be freed: the file that a command writes unless it is given
 * another. NULL when memory is out. */
char *option_default_file(const char *path, const char *ending);
/* May the output be written? Not over anything that the command reads (named on its command line, or `read`), and not
 * over what is no output of the same kind, unless it is forced. `again`: a finished one is taken up. */
bool option_check_output(const struct asked *asked, enum output_kind kind, bool again, const struct input_file *read,
                         struct error *error);

#endif
