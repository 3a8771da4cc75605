# What is installed beside the program, and the Debian package.
#   cmake --build BUILD && (cd BUILD && cpack)
block()  # its names are nobody else's
set(here ${CMAKE_CURRENT_LIST_DIR})
set(made ${CMAKE_BINARY_DIR}/install)
set(PINPROOF_MAINTAINER "The pinproof authors <pinproof@example.invalid>")

# Pages and completions come from the program's own commands, so these must run here; what has
# sanitizers is not for installing.
if(NOT CMAKE_CROSSCOMPILING AND NOT PINPROOF_SANITIZE)
  find_package(Python3 REQUIRED COMPONENTS Interpreter)
  add_custom_command(OUTPUT ${made}/epoch
    COMMAND ${Python3_EXECUTABLE} ${here}/generate.py $<TARGET_FILE:pinproof_documents> ${PROJECT_VERSION}
            ${CMAKE_SOURCE_DIR}/DEVELOPERS.md ${PINPROOF_MAINTAINER} ${made}
    DEPENDS pinproof_documents ${here}/generate.py ${CMAKE_SOURCE_DIR}/DEVELOPERS.md
    COMMENT "Man pages and completions" VERBATIM)
  add_custom_target(pinproof_pages ALL DEPENDS ${made}/epoch)
  install(DIRECTORY ${made}/man1 DESTINATION ${CMAKE_INSTALL_MANDIR})
  install(FILES ${made}/bash/pinproof DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
  install(FILES ${made}/zsh/_pinproof DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions)
  install(FILES ${made}/fish/pinproof.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
  install(FILES ${made}/changelog.gz DESTINATION ${CMAKE_INSTALL_DOCDIR})
endif()

# udev and systemd look in lib, never in lib/<architecture>.
install(FILES ${here}/60-pinproof.rules DESTINATION lib/udev/rules.d)
install(FILES ${here}/pinproof-screen.service DESTINATION lib/systemd/user)
install(FILES ${here}/copyright ${CMAKE_SOURCE_DIR}/README.md ${CMAKE_SOURCE_DIR}/DEVELOPERS.md
        DESTINATION ${CMAKE_INSTALL_DOCDIR})
set(examples ${CMAKE_SOURCE_DIR}/examples)
install(FILES ${examples}/harness-20-pin.json ${examples}/observed-after-repair.json
        ${examples}/readings-pulled-pack.json ${examples}/chart-nine-pin.json
        ${examples}/bench-meter-only.json ${examples}/bench-hand-driven.json
        ${examples}/bench-matrix.json ${examples}/README.md ${examples}/FINDINGS.md
        ${here}/examples/bench-meter-and-probes.json
        DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples)
install(DIRECTORY ${examples}/drawings DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples)
install(FILES ${CMAKE_SOURCE_DIR}/profiles/README.md DESTINATION ${CMAKE_INSTALL_DOCDIR}/profiles)
install(PROGRAMS ${here}/examples/first-inspection DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples)

set(CPACK_VERBATIM_VARIABLES ON)
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME pinproof)
set(CPACK_PACKAGE_CONTACT ${PINPROOF_MAINTAINER})
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "electrical bench analyser for transmission solenoid packs")
set(CPACK_PACKAGE_DESCRIPTION
"Proves every pin of a transmission's solenoid pack with ordinary bench
instruments: resistance, inductance and current rise of each coil, the motion
of its plunger, insulation, pressure switches, the lever's range contacts and
the thermistor, each against the pack's profile and with its uncertainty. It
accepts, rejects or holds the pack, names the fault and the pins to look at,
and keeps a record of every pack.
.
Without instruments, \"pinproof screen --demo\" shows all of it on a simulated
bench.")
set(CPACK_STRIP_FILES ON)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_PROJECT_CONFIG_FILE ${here}/package_time.cmake)
set(CPACK_PRE_BUILD_SCRIPTS ${here}/package_modes.cmake)
set(CPACK_PINPROOF_MADE ${made})

set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION electronics)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "chromium, sigrok-cli")
set(CPACK_DEBIAN_PACKAGE_SUGGESTS postgresql-client)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA ${here}/postinst ${here}/postrm)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
include(CPack)
endblock()
