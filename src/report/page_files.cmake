# The page's files and the charting library become bytes of the program. The library comes from npm, at the version that
# npm/package-lock.json pins.
option(SWASHLOOP_REPORT "Build the command 'report' (needs uPlot through npm)" ON)

set(npm ${CMAKE_CURRENT_LIST_DIR}/npm)
set(charts ${npm}/node_modules/uplot)
if(SWASHLOOP_REPORT AND NOT EXISTS ${charts}/dist/uPlot.iife.min.js)
  # Not in the source tree (tools/install-needs puts it there): fetch it beside the build.
  set(charts ${PROJECT_BINARY_DIR}/report/npm/node_modules/uplot)
  if(NOT EXISTS ${charts}/dist/uPlot.iife.min.js)
    file(COPY ${npm}/package.json ${npm}/package-lock.json DESTINATION ${PROJECT_BINARY_DIR}/report/npm)
    find_program(SWASHLOOP_NPM npm)
    mark_as_advanced(SWASHLOOP_NPM)
    if(SWASHLOOP_NPM)
      message(STATUS "fetching the charting library with npm")
      execute_process(COMMAND ${SWASHLOOP_NPM} ci --silent --no-fund --no-audit
                      WORKING_DIRECTORY ${PROJECT_BINARY_DIR}/report/npm RESULT_VARIABLE ignored)
    endif()
  endif()
  if(NOT EXISTS ${charts}/dist/uPlot.iife.min.js)
    message(FATAL_ERROR "The report needs the charting library uPlot. Run tools/install-needs, or install npm and run "
                        "'npm ci' in src/report/npm, or configure with -DSWASHLOOP_REPORT=OFF to do without the report.")
  endif()
endif()

set(page_files "")
if(SWASHLOOP_REPORT)
  set(page ${CMAKE_CURRENT_LIST_DIR}/page)
  # In this order they stand on the page.
  set(page_files
      STYLE/RUNS=${charts}/dist/uPlot.min.css
      STYLE/BOTH=${page}/shared/page.css
      STYLE/REVIEW=${page}/review/review.css
      STYLE/TABLE=${page}/sweep/sweep.css
      BODY/RUNS=${page}/run/body.html
      BODY/TABLE=${page}/sweep/sweep.html
      LICENCE/RUNS=${charts}/LICENSE
      SCRIPT/RUNS=${charts}/dist/uPlot.iife.min.js
      SCRIPT/BOTH=${page}/shared/base.js
      SCRIPT/RUNS=${page}/run/events.js
      SCRIPT/BOTH=${page}/shared/tables.js
      SCRIPT/BOTH=${page}/shared/switches.js
      SCRIPT/RUNS=${page}/run/groups.js
      SCRIPT/RUNS=${page}/run/points.js
      SCRIPT/RUNS=${page}/run/charts.js
      SCRIPT/RUNS=${page}/run/circuit.js
      SCRIPT/RUNS=${page}/run/energy.js
      SCRIPT/RUNS=${page}/run/page.js
      SCRIPT/REVIEW=${page}/review/review.js
      SCRIPT/TABLE=${page}/sweep/sweep_data.js
      SCRIPT/TABLE=${page}/sweep/sweep_frame.js
      SCRIPT/TABLE=${page}/sweep/sweep_map.js
      SCRIPT/TABLE=${page}/sweep/sweep_plots.js
      SCRIPT/TABLE=${page}/sweep/sweep_cases.js
      SCRIPT/TABLE=${page}/sweep/sweep.js)
endif()
list(TRANSFORM page_files REPLACE "^[A-Z]+/[A-Z]+=" "" OUTPUT_VARIABLE page_inputs)
set(embedded ${PROJECT_BINARY_DIR}/report/page_files.c)
add_custom_command(
  OUTPUT ${embedded}
  COMMAND ${CMAKE_COMMAND} -DOUTPUT=${embedded} "-DFILES=${page_files}" -P ${CMAKE_CURRENT_LIST_DIR}/embed.cmake
  DEPENDS ${page_inputs} ${CMAKE_CURRENT_LIST_DIR}/embed.cmake
  COMMENT "Embedding the page of the report"
  VERBATIM)
target_sources(swashloop_report PRIVATE ${embedded})
