/* What tells one build of the physics from another: "3f2a91c04d77-8b1e90". Before the dash a hash of the sources that
 * decide about numbers, behind it one of what made code of them: compiler, its options, solver library. Made by
 * build_id.cmake whenever one of them changes; it needs no version control, so a tarball gives what a clone gives. */
#ifndef SWASHLOOP_CORE_BUILD_ID_H
#define SWASHLOOP_CORE_BUILD_ID_H

enum { BUILD_ID_SIZE = 20 }; /* with the end of the text */

/* The identity of this build, for files and `--version`. */
const char *build_id(void);

#endif
