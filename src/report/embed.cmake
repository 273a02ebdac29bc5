# Makes a C source of files: cmake -DOUTPUT=page_files.c "-DFILES=KIND=path;KIND=path" -P embed.cmake
set(arrays "")
set(rows "")
set(count 0)
foreach(entry IN LISTS FILES)
  string(REGEX MATCH "^([A-Z]+)=(.*)$" entry "${entry}")
  set(kind ${CMAKE_MATCH_1})
  set(path ${CMAKE_MATCH_2})
  get_filename_component(name ${path} NAME)
  file(READ ${path} bytes HEX)
  string(REGEX REPLACE "(................................)" "\\1\n    " bytes "${bytes}")
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
  string(APPEND arrays "static const unsigned char file_${count}[] = {\n    ${bytes}0};\n\n")
  string(APPEND rows "    {\"${name}\", PAGE_${kind}, file_${count}, sizeof file_${count} - 1},\n")
  math(EXPR count "${count} + 1")
endforeach()
file(WRITE ${OUTPUT}
     "#include \"page_files.h\"\n\n${arrays}const struct page_file page_files[] = {\n${rows}    {0, PAGE_LICENCE, 0, 0}};\n\n"
     "const int page_file_count = ${count};\n")
