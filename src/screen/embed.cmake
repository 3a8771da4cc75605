# cmake -DFOLDER=... -DOUT=... -P embed.cmake
# Writes the text files of a folder into one C++ source, byte for byte.
file(GLOB names RELATIVE ${FOLDER} ${FOLDER}/*)
list(SORT names)
set(text "// Made from the page's files by embed.cmake.\n#include \"screen/page_files.h\"\n\nnamespace pinproof::screen {\nnamespace {\n\nconstexpr PageFile kFiles[] = {\n")
foreach(name IN LISTS names)
  file(READ ${FOLDER}/${name} content)
  if(content MATCHES "\\)end-of-file\"")
    message(FATAL_ERROR "${name}: holds the mark that ends it")
  endif()
  string(APPEND text "    {\"${name}\", R\"end-of-file(${content})end-of-file\"},\n")
endforeach()
string(APPEND text "};\n\n}  // namespace\n\nstd::span<const PageFile> page_files() { return kFiles; }\n\n}  // namespace pinproof::screen\n")
file(WRITE ${OUT} "${text}")
