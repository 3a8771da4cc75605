# Read by cpack. The same sources give the same bytes: times in the package are
# those of the newest change, where nobody sets SOURCE_DATE_EPOCH.
if(NOT DEFINED ENV{SOURCE_DATE_EPOCH} AND EXISTS ${CPACK_PINPROOF_MADE}/epoch)
  file(READ ${CPACK_PINPROOF_MADE}/epoch seconds)
  set(ENV{SOURCE_DATE_EPOCH} ${seconds})
endif()
