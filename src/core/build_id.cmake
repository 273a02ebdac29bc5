# Makes the C source of build_id.h: cmake -DOUTPUT=build_id.c -DROOT=TREE "-DFILES=models/components/pump.h;..." "-DTOOLS=..." -P
# build_id.cmake. Names relative to ROOT, so that the place of the tree does not matter.
set(list "")
list(SORT FILES)
foreach(name IN LISTS FILES)
  file(SHA256 ${ROOT}/${name} hash)
  string(APPEND list "${hash} ${name}\n")
endforeach()
string(SHA256 sources "${list}")
string(SHA256 tools "${TOOLS}")
string(SUBSTRING ${sources} 0 12 sources)
string(SUBSTRING ${tools} 0 6 tools)
file(WRITE ${OUTPUT} "#include \"build_id.h\"\n\nconst char *build_id(void) {\n  return \"${sources}-${tools}\";\n}\n")
