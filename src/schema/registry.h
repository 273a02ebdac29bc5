/* Find, set and check parameters by path ("pump.displacement"), over the tables that plants declare. */
#ifndef SWASHLOOP_SCHEMA_REGISTRY_H
#define SWASHLOOP_SCHEMA_REGISTRY_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"

/* All plants, NULL at the end. */
extern const struct plant *const registry_plants[];
const struct plant *registry_plant(const char *name);

/* A found parameter. */
struct parameter {
  const struct group *group;
  const struct field *field;
};

/* The section, and the parameter in it, that a user names; NULL: there is none. */
const struct group *registry_group(const struct group *groups, int group_count, const char *name);
const struct field *registry_field(const struct group *group, const char *name);
/* A field that earlier versions called otherwise. */
struct registry_rename {
  const char *group;
  const char *before;
  const char *now;
};
/* The i-th of them, NULL behind the last; and what a field of earlier versions is called now, NULL: it is none. */
const struct registry_rename *registry_rename(int i);
const char *registry_renamed(const char *group, const char *field);
/* Where the parameter's member lies in a block that starts at `base`. */
void *registry_member(void *base, struct parameter parameter);
const void *registry_member_const(const void *base, struct parameter parameter);
/* What the row says, with the condition under which the parameter acts behind it: "moving mass (law poppet)". */
const char *registry_text(const struct group *group, const struct field *field, char *buffer, int size);

/* One clause of a row's `acts`, taken apart. */
enum { CLAUSE_LIMIT = 96 };
struct clause {
  char group[CLAUSE_LIMIT];   /* "": the own section */
  char name[CLAUSE_LIMIT];    /* of the field; "channel" without a group: of no field */
  char choices[CLAUSE_LIMIT]; /* "a|b"; "": asks for a number that is not zero */
};
/* The clause at `from`; returns where the next one begins, NULL behind the last. */
const char *registry_clause(const char *from, struct clause *clause);
/* "a|b" for people: "a or b". */
const char *registry_alternatives(const char *choices, char *buffer, int size);
/* Every default into `base`. */
void registry_defaults(const struct group *groups, int group_count, void *base);

/* Mean spacing of the finest smooth table over time; HUGE_VAL without one. */
double registry_sampling(const struct group *groups, int group_count, const void *base);

/* Index of `name` in choices "a|b|c", or -1; and the other way round into buffer. */
int registry_choice(const char *choices, const char *name);
const char *registry_choice_name(const char *choices, int index, char *buffer, int size);

/* For parameters that the program itself reads by name: where a section's struct, or one parameter by its path, lies in
 * the plant's parameters at `base`. NULL: there is none of this name, so a row was renamed and the program was not. */
void *registry_need_section(const struct plant *plant, void *base, const char *section, struct error *error);
void *registry_need_parameter(const struct plant *plant, void *base, const char *section, const char *name,
                              struct error *error);

/* Index of the signal (channel) that a user names, or -1. */
int registry_signal(const struct plant *plant, const char *name);
int registry_channel(const struct plant *plant, const char *name);

/* Index of a signal or a ledger row that the program itself reads by name. */
struct row_place {
  bool there; /* false: the plant has none by design (plant->lacks) */
  int index;  /* only where it is there */
};

/* To be asked once, before a run starts. False: the plant neither has the name nor says that it lacks it; a row was
 * renamed and the program was not, or the other way round. */
bool registry_place(const struct plant *plant, const char *name, struct row_place *place, struct error *error);
bool registry_ledger_place(const struct plant *plant, const char *name, struct row_place *place, struct error *error);
/* The same for a signal that the plant must have. */
bool registry_need(const struct plant *plant, const char *name, int *index, struct error *error);
/* The same for one of the active states, whose rows are given: its place among them. */
bool registry_need_state(const struct plant *plant, const int *rows, int count, const char *name, int *place,
                         struct error *error);

/* The nearest of `count` names to `name` by edit distance, NULL if none is near. `name_at` returns the i-th. */
const char *registry_nearest(const char *name, int count, const char *(*name_at)(const void *context, int index),
                             const void *context);

/* The word of a ledger row's kind in files: a reader sees one kind of loss and of store. */
const char *ledger_kind_word(enum ledger_kind kind);

#endif
