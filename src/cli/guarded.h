/* Work over HDF5 files that may be anything. A damaged or hostile file can bring the file library down, keep it busy
 * for ever or have it ask for all memory: the work is done in a process of its own, bounded in time and memory. */
#ifndef SWASHLOOP_CLI_GUARDED_H
#define SWASHLOOP_CLI_GUARDED_H

/* Returns the exit code, as `work` does; whatever goes wrong is told. `files` are those read; `output` is the file
 * written (NULL: none): when the process dies, its part is removed. */
int guarded_run(int (*work)(void *context), void *context, const char *const *files, int file_count,
                const char *output);

#endif
