/* What was guessed of a file, and what was left out or moved: told in one line, so that nobody takes a guess for what
 * the file says. */
#ifndef SWASHLOOP_COLUMNS_TOLD_H
#define SWASHLOOP_COLUMNS_TOLD_H

struct told {
  char text[2048]; /* remarks parted by "; "; "": nothing had to be guessed */
};

/* One more remark behind those that are there; what does not fit is left out, and that is told. */
void told_add(struct told *told, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
