/* The files of page/ and of the charting library, put into the program by the build (embed.cmake). */
#ifndef SWASHLOOP_REPORT_PAGE_FILES_H
#define SWASHLOOP_REPORT_PAGE_FILES_H

#include <stddef.h>

enum page_file_kind { PAGE_STYLE, PAGE_BODY, PAGE_SCRIPT, PAGE_LICENCE };
/* On which page a file stands. */
enum page_use { PAGE_FOR_RUNS = 1, PAGE_FOR_TABLE = 2, PAGE_FOR_BOTH = 3, PAGE_FOR_REVIEW = 4 };

struct page_file {
  const char *name;
  enum page_file_kind kind;
  enum page_use use;
  const unsigned char *bytes;
  size_t size;
};

/* In the order in which they stand on the page. */
extern const struct page_file page_files[];
extern const int page_file_count;

#endif
