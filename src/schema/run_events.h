/* Events that a run finds of any machine: braking, stop, rest, creep. Their words, once: for the log and its readers.
 */
#ifndef SWASHLOOP_SCHEMA_RUN_EVENTS_H
#define SWASHLOOP_SCHEMA_RUN_EVENTS_H

enum motion_news { NEWS_BRAKING, NEWS_STOP, NEWS_STANDS, NEWS_CREEPS, NEWS_MOVES, MOTION_NEWS_COUNT };

struct motion_words {
  const char *name;
  const char *words; /* a message begins with these */
  int direction;     /* 1 or -1 for the two ways of one event, as those of a plant rise and fall; else 0 */
};
extern const struct motion_words motion_words[MOTION_NEWS_COUNT];

#endif
