/* What a run says of the fuel: measures and balance, where the plant counts it. */
#ifndef SWASHLOOP_RUN_FUEL_ACCOUNT_H
#define SWASHLOOP_RUN_FUEL_ACCOUNT_H

#include "registry.h"
#include "run.h"
#include "view.h"

enum { FUEL_SIGNALS = 3, FUEL_TERMS = 6 };

struct fuel_account {
  bool known;                /* the plant can count fuel at all */
  bool counted;              /* and does, by the laws of the case */
  int signals[FUEL_SIGNALS]; /* what is burnt so far: mass, volume, carbon dioxide */
  int terms[FUEL_TERMS];     /* ledger rows, by enum fuel_term */
};

/* What the plant has of all that is asked; false as registry_place. */
bool fuel_account_begin(struct fuel_account *account, const struct view *view, struct error *error);
/* Marks the signals that are read of the last sample. */
void fuel_account_follow(const struct fuel_account *account, bool *needed);
/* Measures and balance at the last sample, once the ledger of `outcome` is filled; `absent` measures are left as they
 * are where the plant cannot count. */
void fuel_account_end(const struct fuel_account *account, const struct sample *sample, struct outcome *outcome);

#endif
