# Everything that decides about a number of a result: change one of these and the build is another one.
file(
  GLOB physics
  RELATIVE ${PROJECT_SOURCE_DIR}
  CONFIGURE_DEPENDS
  models/*/*.[ch]
  src/core/*.[ch]
  src/schema/*.[ch]
  src/linear/*.[ch]
  src/integrate/*.[ch]
  src/case/*.[ch]
  src/equilibrium/*.[ch]
  src/run/*.[ch]
  src/sweep/*.[ch])
get_target_property(build_options swashloop_settings INTERFACE_COMPILE_OPTIONS)
string(TOUPPER "${CMAKE_BUILD_TYPE}" build_type)
string(JOIN " " build_tools ${CMAKE_C_COMPILER_ID} ${CMAKE_C_COMPILER_VERSION} ${CMAKE_SYSTEM_PROCESSOR}
       ${CMAKE_C_FLAGS} ${CMAKE_C_FLAGS_${build_type}} ${build_options} SUNDIALS ${SUNDIALS_VERSION})
set(build_source ${PROJECT_BINARY_DIR}/build_id.c)
list(TRANSFORM physics PREPEND ${PROJECT_SOURCE_DIR}/ OUTPUT_VARIABLE physics_paths)
add_custom_command(
  OUTPUT ${build_source}
  COMMAND ${CMAKE_COMMAND} -DOUTPUT=${build_source} -DROOT=${PROJECT_SOURCE_DIR} "-DFILES=${physics}"
          "-DTOOLS=${build_tools}" -P ${CMAKE_CURRENT_LIST_DIR}/build_id.cmake
  DEPENDS ${physics_paths} ${CMAKE_CURRENT_LIST_DIR}/build_id.cmake
  COMMENT "Naming this build"
  VERBATIM)
target_sources(swashloop_core PRIVATE ${build_source})
