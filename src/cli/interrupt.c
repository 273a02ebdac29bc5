#include "interrupt.h"

#include <signal.h>
#include <string.h>

/* A signal handler can reach nothing but a variable of the file. */
static volatile sig_atomic_t interrupted = 0;

static void note_signal(int number) {
  (void)number;
  interrupted = 1;
}

static const int signals[] = {SIGINT, SIGTERM, SIGHUP};
enum { SIGNAL_COUNT = (int)(sizeof signals / sizeof signals[0]) };

/* Hanging up is ignored by whoever was started with nohup, and stays so. */
static void take(int number, void (*handler)(int)) {
  struct sigaction action;
  if (number == SIGHUP && sigaction(number, NULL, &action) == 0 && action.sa_handler == SIG_IGN) {
    return;
  }
  memset(&action, 0, sizeof action);
  action.sa_handler = handler;
  action.sa_flags = SA_RESTART;
  (void)sigemptyset(&action.sa_mask);
  (void)sigaction(number, &action, NULL);
}

void interrupt_catch(void) {
  for (int i = 0; i < SIGNAL_COUNT; i++) {
    take(signals[i], note_signal);
  }
  /* A file over the size limit is an error of writing like any other, not a reason to die with a part left behind. */
  (void)signal(SIGXFSZ, SIG_IGN);
}

void interrupt_release(void) {
  for (int i = 0; i < SIGNAL_COUNT; i++) {
    take(signals[i], SIG_DFL);
  }
}

bool interrupt_seen(void) {
  return interrupted != 0;
}
