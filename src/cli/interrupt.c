#include "interrupt.h"

#include <signal.h>
#include <string.h>

/* A signal handler can reach nothing but a variable of the file. */
static volatile sig_atomic_t interrupted = 0;

static void note_signal(int number) {
  (void)number;
  interrupted = 1;
}

void interrupt_catch(void) {
  struct sigaction action;
  memset(&action, 0, sizeof action);
  action.sa_handler = note_signal;
  action.sa_flags = SA_RESTART;
  (void)sigemptyset(&action.sa_mask);
  (void)sigaction(SIGINT, &action, NULL);
  (void)sigaction(SIGTERM, &action, NULL);
  /* A file over the size limit is an error of writing like any other, not a reason to die with a part left behind. */
  action.sa_handler = SIG_IGN;
  (void)sigaction(SIGXFSZ, &action, NULL);
}

bool interrupt_seen(void) {
  return interrupted != 0;
}
