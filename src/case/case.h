/* A case: which plant, its parameters, what the operator does, what must hold. Read from a YAML file, in one strict
 * subset: no anchors, aliases, tags, merge keys or duplicate keys. */
#ifndef SWASHLOOP_CASE_CASE_H
#define SWASHLOOP_CASE_CASE_H

#include <stdbool.h>

#include "error.h"
#include "input_file.h"
#include "plant.h"
#include "simulation.h"

enum { CASE_NAME_LIMIT = 96 };

/* What a condition reads when it is no signal. */
enum { CONDITION_CLOCK = -1, CONDITION_MEASURE = -2 };

/* A sentence `NAME OP VALUE`: a signal (or, in a limit, a measure) against a level. */
struct condition {
  char name[CASE_NAME_LIMIT]; /* of the signal or measure; "time" for the clock */
  int signal;                 /* index in the plant's signals; -1: the clock; -2: a measure */
  int measure;                /* index of the measure when signal is -2 */
  bool above;                 /* true: > or >=; false: < or <= */
  double level;               /* SI, by the reference of the signal */
};

/* `actions:` once the condition becomes true, one channel moves. Each fires once. */
struct action {
  char name[CASE_NAME_LIMIT]; /* what to call it in the event log; default: the sentence */
  struct condition when;
  int channel;
  double target;   /* SI */
  double duration; /* s */
  int line;
};

/* `limits:` what must hold, by a sentence `NAME <= VALUE [within TIME]`. `within`: it need hold only from that time
 * after braking starts (stop_from; the start of the run when nothing brakes). */
struct limit {
  char text[2 * CASE_NAME_LIMIT]; /* the sentence as written */
  struct condition keep;          /* what must hold */
  double within;                  /* s; 0: always */
  int line;
};

/* A parameter, or a setting of the run, that the case itself sets: its file, the command line or a study; not the
 * machine below it. */
struct given {
  const struct group *group;
  const struct field *field;
  const char *file; /* where, as errors name it */
  int line;         /* from 1; 0: not in a file */
  int column;       /* from 1 */
  struct given *next;
};

struct case_data {
  char *title;
  char *source; /* path of the case file */
  const struct plant *plant;
  void *parameters; /* plant->parameter_size bytes, SI */
  struct simulation_parameters simulation;
  struct action *actions;
  int action_count;
  struct limit *limits;
  int limit_count;
  const struct input_file *inputs; /* every file that it was read from */
  struct given *given;             /* each parameter once, in the order of first mention */
  char *resolved;                  /* the whole case as YAML with every default, reads back to the same case */
  void *memory;                    /* everything above lies here */
};

/* Read `path`; then apply `sets` ("pump.displacement=110 cm3/rev"), in order. On failure `*data` is untouched. */
bool case_load(const char *path, const char *const *sets, int set_count, struct case_data *data, struct error *error);
/* The same, but goes on behind a fault: `faults` gets all of them, one at least when false is returned. */
bool case_load_telling(const char *path, const char *const *sets, int set_count, struct case_data *data,
                       struct faults *faults);
/* The same from text; `name` stands in messages, machine files are looked for beside it. */
bool case_load_text(const char *name, const char *text, const char *const *sets, int set_count, struct case_data *data,
                    struct error *error);
/* What other files say of a case, beside the texts of the command line. */
struct node;
enum { CASE_ADDITION_LIMIT = 3 };
struct case_additions {
  const char *named;          /* the file of the command line that all this comes from; NULL: the case */
  const struct node *machine; /* file of the machine, beside that of the node, in place of the case's own; or NULL */
  const struct node *below;   /* mapping PATH: VALUE, set before the texts; or NULL */
  const char *const *sets;    /* texts */
  int set_count;
  const struct node *set[CASE_ADDITION_LIMIT];    /* mappings, set behind the texts, in order; each may be NULL */
  const struct node *limits[CASE_ADDITION_LIMIT]; /* lists of further limits; each may be NULL */
  const struct carried_files *carried;            /* where files are read from; NULL: the disk */
};
/* The case at `path` with all that `additions` say. */
bool case_load_with(const char *path, const struct case_additions *additions, struct case_data *data,
                    struct error *error);
/* The same, for a study: what its mapping `set` (PATH: VALUE) and its list `limits` say on top; either may be NULL, and
 * so may `carried`: then files are read from the disk. */
bool case_load_for_study(const char *path, const struct node *set, const struct node *limits,
                         const struct carried_files *carried, struct case_data *data, struct error *error);
/* A case of its own with the same numbers; what parameter_ref_set changes in it changes nothing else. */
bool case_copy(const struct case_data *data, struct case_data *copy, struct error *error);
/* Write data->title anew, and data->resolved from the numbers as they are now. */
bool case_rename(struct case_data *data, const char *title, struct error *error);
/* Set what the texts of --set say in a case that is the caller's own, in order, and write data->resolved anew. */
bool case_set(struct case_data *data, const char *const *sets, int set_count, struct error *error);
/* One more limit, by its sentence; it stands last. The case is the caller's own. */
bool case_add_limit(struct case_data *data, const char *sentence, struct error *error);
/* After a failure: what stands in a file that the file `named` on the command line only refers to, and that lies
 * outside its folder and the present one, is not quoted in the message; the place is. */
void case_hide_outside(const char *named, struct error *error);
void case_free(struct case_data *data);

#endif
