#include "bundle.h"

#include <stdlib.h>
#include <string.h>

/* Each file: two lengths, its path with the zero behind, its bytes. The study comes first. */
struct file_head {
  uint64_t path; /* bytes, its zero counted */
  uint64_t text;
};

static const struct input_file *first_of_path(const struct input_file *list, const struct input_file *file) {
  while (strcmp(list->path, file->path) != 0) {
    list = list->next;
  }
  return list;
}

/* Is it sent? A file may be listed twice. */
static bool is_sent(const struct plan *plan, const struct input_file *file) {
  return file->text != NULL && first_of_path(plan->base.inputs, file) == file;
}

static unsigned char *put(unsigned char *at, const void *bytes, size_t size) {
  memcpy(at, bytes, size);
  return at + size;
}

static unsigned char *put_file(unsigned char *at, const struct input_file *file) {
  struct file_head head = {strlen(file->path) + 1, file->length};
  at = put(at, &head, sizeof head);
  at = put(at, file->path, head.path);
  return put(at, file->text, head.text);
}

bool bundle_make(const struct plan *plan, unsigned char **bytes, int64_t *length, struct error *error) {
  size_t size = 0;
  for (const struct input_file *file = plan->base.inputs; file != NULL; file = file->next) {
    size += is_sent(plan, file) ? sizeof(struct file_head) + strlen(file->path) + 1 + file->length : 0;
  }
  unsigned char *at = *bytes = malloc(size + 1);
  *length = (int64_t)size;
  if (at == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the study");
  }
  for (const struct input_file *file = plan->base.inputs; file != NULL; file = file->next) {
    at = is_sent(plan, file) ? put_file(at, file) : at;
  }
  return true;
}

/* The files that lie in the bytes; the list is to be freed. */
static struct carried_file *files_in(const unsigned char *bytes, size_t length, int *count) {
  struct carried_file *list = NULL;
  *count = 0;
  for (size_t at = 0; length - at >= sizeof(struct file_head);) {
    struct file_head head;
    memcpy(&head, bytes + at, sizeof head);
    struct carried_file *longer = realloc(list, ((size_t)*count + 1) * sizeof *longer);
    if (longer == NULL) {
      free(list);
      return NULL;
    }
    list = longer;
    at += sizeof head;
    list[(*count)++] = (struct carried_file){(const char *)bytes + at, (const char *)bytes + at + head.path, head.text};
    at += head.path + head.text;
  }
  return list;
}

bool bundle_load(const unsigned char *bytes, int64_t length, struct plan *plan, struct error *error) {
  struct carried_files files = {NULL, 0};
  struct carried_file *list = files_in(bytes, (size_t)length, &files.count);
  files.list = list;
  bool good = list != NULL ? plan_load(list[0].path, &files, plan, error)
                           : error_set(error, ERROR_MEMORY, "no memory for the study");
  free(list);
  return good;
}
