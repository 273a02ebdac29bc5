/* Ranks that share a sweep, as threads of this program that pass messages through memory: the table is the same as
 * alone, whoever stops or cannot take part. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "h5_read.h"
#include "sweep.h"
#include "units.h"

enum { RANKS = 3, CASES = 40 };

static char folder[64];
static char study[96];

static const char *const study_text = "case: " SWASHLOOP_SOURCE "/cases/baseline/downhill.yaml\n"
                                      "set: {simulation.end_time: 3 s}\n"
                                      "arrange: sobol\ncount: 40\n"
                                      "vary:\n  - {path: vehicle.mass, from: 10 t, to: 18 t}\n"
                                      "  - {path: charge.check_open, from: 0.2 bar, to: 2 bar}\n"
                                      "limits: [line_a_pressure <= 200 bar]\n";

static int set_up(void **state) {
  (void)state;
  (void)snprintf(folder, sizeof folder, "/tmp/swashloop-ranks-XXXXXX");
  if (!mkdtemp(folder)) {
    return -1;
  }
  (void)snprintf(study, sizeof study, "%s/study.yaml", folder);
  FILE *file = fopen(study, "wb");
  return file && fputs(study_text, file) >= 0 && fclose(file) == 0 ? 0 : -1;
}

static int tear_down(void **state) {
  (void)state;
  (void)unlink(study);
  return rmdir(folder);
}

/* ---- post ---- */

struct letter {
  int from;
  enum message_kind kind;
  struct message_head message;
  unsigned char *payload;
  struct letter *next;
};

struct post {
  pthread_mutex_t lock;
  struct letter *boxes[RANKS];
};

struct sender {
  struct post *post;
  int rank;
  bool other_build;    /* what it asks with comes from another program */
  struct letter *held; /* what was received last */
};

static void drop(struct letter *letter) {
  if (letter) {
    free(letter->payload);
    free(letter);
  }
}

static void send_letter(void *context, int to, enum message_kind kind, const struct message_head *message,
                        const void *payload) {
  struct sender *sender = context;
  struct letter *letter = calloc(1, sizeof *letter);
  letter->from = sender->rank;
  letter->kind = kind;
  letter->message = *message;
  letter->payload = calloc((size_t)message->bytes + 1, 1);
  if (message->bytes > 0) {
    memcpy(letter->payload, payload, (size_t)message->bytes);
  }
  if (kind == MESSAGE_ASK && message->bytes > 0 && sender->other_build) {
    static const char other[] = "other";
    char *build = strstr((char *)letter->payload, ", build ") + sizeof ", build " - 1;
    memcpy(build, other, sizeof other);
    letter->message.bytes = (int32_t)(build + sizeof other - 1 - (char *)letter->payload);
  }
  pthread_mutex_lock(&sender->post->lock);
  struct letter **end = &sender->post->boxes[to];
  while (*end) {
    end = &(*end)->next;
  }
  *end = letter;
  pthread_mutex_unlock(&sender->post->lock);
}

static bool receive_letter(void *context, int *from, enum message_kind *kind, struct message_head *message,
                           const void **payload) {
  struct sender *sender = context;
  pthread_mutex_lock(&sender->post->lock);
  struct letter *letter = sender->post->boxes[sender->rank];
  if (letter) {
    sender->post->boxes[sender->rank] = letter->next;
  }
  pthread_mutex_unlock(&sender->post->lock);
  if (!letter) {
    return false;
  }
  drop(sender->held);
  sender->held = letter;
  *from = letter->from;
  *kind = letter->kind;
  *message = letter->message;
  *payload = letter->payload;
  return true;
}

/* ---- ranks ---- */

struct rank {
  struct sender sender;
  struct communicator communicator;
  const struct plan *plan;
  char output[96];
  bool absent; /* it cannot take part */
  bool dies;   /* it asks for two spans and is never heard of again */
  bool other_build;
  bool resume;
  int64_t stop_at; /* asked to stop once it has asked this often; 0: never */
  int64_t evaluations;
  bool good;
  struct sweep_report report;
  struct error error;
};

static bool wants_stop(void *context) {
  struct rank *rank = context;
  return rank->stop_at > 0 && ++rank->evaluations >= rank->stop_at;
}

static void *run_rank(void *argument) {
  struct rank *rank = argument;
  if (rank->absent) {
    sweep_absent(&rank->communicator, "no study here");
    return NULL;
  }
  for (int i = 0; rank->dies && i < 2; i++) {
    struct message_head ask = {.first = (int64_t)rank->plan->fingerprint};
    send_letter(&rank->sender, 0, MESSAGE_ASK, &ask, "");
  }
  if (rank->dies) {
    return NULL;
  }
  struct sweep_order order = {.plan = rank->plan,
                              .output = rank->output,
                              .command = "test",
                              .patience = 1.0,
                              .jobs = 1,
                              .shards = 1,
                              .resume = rank->resume,
                              .communicator = &rank->communicator,
                              .context = rank,
                              .stop = wants_stop};
  rank->good = sweep_run(&order, &rank->report, &rank->error);
  return NULL;
}

/* All ranks together, as `ranks` says; their reports are in it afterwards. Rank 2 has read `other`. */
static void run_communicator_of(struct rank *ranks, const struct plan *plan, const struct plan *other,
                                const char *name) {
  struct post post = {.lock = PTHREAD_MUTEX_INITIALIZER};
  pthread_t threads[RANKS];
  for (int r = 0; r < RANKS; r++) {
    ranks[r].sender = (struct sender){&post, r, ranks[r].other_build, NULL};
    ranks[r].communicator =
        (struct communicator){&ranks[r].sender, r, RANKS, send_letter, receive_letter, NULL, NULL, NULL};
    ranks[r].plan = r == 2 ? other : plan;
    (void)snprintf(ranks[r].output, sizeof ranks[r].output, "%s/%s", folder, name);
    assert_int_equal(pthread_create(&threads[r], NULL, run_rank, &ranks[r]), 0);
  }
  for (int r = 0; r < RANKS; r++) {
    pthread_join(threads[r], NULL);
    drop(ranks[r].sender.held);
  }
  for (int r = 0; r < RANKS; r++) {
    for (struct letter *letter = post.boxes[r]; letter;) {
      struct letter *next = letter->next;
      drop(letter);
      letter = next;
    }
  }
}

static void run_communicator(struct rank *ranks, const struct plan *plan, const char *name) {
  run_communicator_of(ranks, plan, plan, name);
}

static void run_alone(const struct plan *plan, const char *name) {
  char output[96];
  struct sweep_report report;
  struct error error = {0};
  (void)snprintf(output, sizeof output, "%s/%s", folder, name);
  struct sweep_order order = {.plan = plan, .output = output, .command = "test", .jobs = 2, .shards = 1};
  assert_true(sweep_run(&order, &report, &error));
  assert_int_equal(report.done, CASES);
}

/* ---- tables ---- */

static void read_column(const char *name, const char *column, double *values) {
  char path[96];
  struct h5_reading reading;
  struct error error = {0};
  (void)snprintf(path, sizeof path, "%s/%s", folder, name);
  assert_true(h5_reading_open_sealed(&reading, path, &error));
  hid_t dataset = h5_reading_dataset(&reading, reading.file, column);
  assert_true(h5_reading_slab(&reading, dataset, H5T_NATIVE_DOUBLE, 0, CASES, values));
  h5_reading_shut(dataset);
  h5_reading_close(&reading);
}

static void expect_same_tables(const char *a, const char *b) {
  static const char *const columns[] = {"case", "vehicle.mass", "peak_line_a_pressure", "energy_residual",
                                        "limit_1_line_a_pressure_worst"};
  for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++) {
    double first[CASES];
    double second[CASES];
    read_column(a, columns[i], first);
    read_column(b, columns[i], second);
    assert_memory_equal(first, second, sizeof first);
  }
}

static void forget(const char *name) {
  char path[128];
  (void)snprintf(path, sizeof path, "%s/%s", folder, name);
  (void)unlink(path);
  (void)snprintf(path, sizeof path, "%s/%s.journal", folder, name);
  (void)unlink(path);
}

/* ---- tests ---- */

static void load(struct plan *plan) {
  struct error error = {0};
  if (!plan_load(study, NULL, plan, &error)) {
    fail_msg("%s", error.text);
  }
}

static void test_ranks_make_the_same_table(void **state) {
  (void)state;
  struct plan plan;
  struct rank ranks[RANKS] = {{.absent = false}};
  load(&plan);
  run_alone(&plan, "alone.h5");
  run_communicator(ranks, &plan, "ranks.h5");
  assert_true(ranks[0].good);
  assert_int_equal(ranks[0].report.done, CASES);
  /* Some checks open below where they crack: those cases fail, and are rows all the same. */
  assert_true(ranks[0].report.failed > 0 && ranks[0].report.failed < CASES);
  expect_same_tables("alone.h5", "ranks.h5");
  forget("alone.h5");
  forget("ranks.h5");
  plan_free(&plan);
}

/* Any rank that is asked to stop ends the sweep for all; what is done stays done. */
static void test_stopped_ranks_go_on_later(void **state) {
  (void)state;
  struct plan plan;
  load(&plan);
  run_alone(&plan, "alone.h5");
  for (int stopped = 0; stopped < RANKS; stopped++) {
    struct rank ranks[RANKS] = {{.absent = false}};
    ranks[stopped].stop_at = 2;
    run_communicator(ranks, &plan, "ranks.h5");
    assert_true(ranks[0].good);
    assert_true(ranks[0].report.stopped);
    struct rank again[RANKS] = {{.resume = true}, {.resume = true}, {.resume = true}};
    run_communicator(again, &plan, "ranks.h5");
    assert_true(again[0].good);
    assert_int_equal(again[0].report.before, ranks[0].report.done);
    assert_int_equal(again[0].report.done, CASES);
    expect_same_tables("alone.h5", "ranks.h5");
    forget("ranks.h5");
  }
  forget("alone.h5");
  plan_free(&plan);
}

static void test_an_absent_rank_ends_all(void **state) {
  (void)state;
  struct plan plan;
  load(&plan);
  for (int absent = 0; absent < RANKS; absent++) {
    struct rank ranks[RANKS] = {{.absent = false}};
    ranks[absent].absent = true;
    run_communicator(ranks, &plan, "ranks.h5");
    if (absent > 0) {
      assert_false(ranks[0].good);
      assert_non_null(strstr(ranks[0].error.text, "no study here"));
    }
    forget("ranks.h5");
  }
  plan_free(&plan);
}

/* Its spans are dealt again once it has been silent for as long as the sweep is patient. */
static void test_a_dead_rank_costs_its_spans(void **state) {
  (void)state;
  struct plan plan;
  struct rank ranks[RANKS] = {{.absent = false}};
  load(&plan);
  run_alone(&plan, "alone.h5");
  ranks[1].dies = true;
  run_communicator(ranks, &plan, "ranks.h5");
  assert_true(ranks[0].good);
  assert_int_equal(ranks[0].report.lost_ranks, 1);
  assert_int_equal(ranks[0].report.done, CASES);
  expect_same_tables("alone.h5", "ranks.h5");
  forget("alone.h5");
  forget("ranks.h5");
  plan_free(&plan);
}

/* A rank whose copy of the study differs would make rows of another sweep. */
static void test_another_study_is_found_out(void **state) {
  (void)state;
  struct plan plan;
  struct plan other;
  load(&plan);
  load(&other);
  other.fingerprint ^= 1;
  struct rank ranks[RANKS] = {{.absent = false}};
  run_communicator_of(ranks, &plan, &other, "ranks.h5");
  assert_false(ranks[0].good);
  assert_non_null(strstr(ranks[0].error.text, "rank 2 reads another study"));
  forget("ranks.h5");
  plan_free(&plan);
  plan_free(&other);
}

/* A machine of the cluster with an older program on it. */
static void test_another_build_is_found_out(void **state) {
  (void)state;
  struct plan plan;
  load(&plan);
  struct rank ranks[RANKS] = {{.absent = false}, {.other_build = true}};
  run_communicator(ranks, &plan, "ranks.h5");
  assert_false(ranks[0].good);
  assert_non_null(strstr(ranks[0].error.text, "rank 1 is swashloop "));
  assert_non_null(strstr(ranks[0].error.text, ", build other; rank 0 is swashloop "));
  assert_int_equal(error_exit_status(ranks[0].error.code), 2);
  forget("ranks.h5");
  plan_free(&plan);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_ranks_make_the_same_table),  cmocka_unit_test(test_stopped_ranks_go_on_later),
      cmocka_unit_test(test_an_absent_rank_ends_all),    cmocka_unit_test(test_another_study_is_found_out),
      cmocka_unit_test(test_another_build_is_found_out), cmocka_unit_test(test_a_dead_rank_costs_its_spans),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
