// Writes one label as SVG and as PDF for the check that reads its QR code back.
// Usage: label_write ID SERIAL LOT accept|reject|hold WIDTH_MM HEIGHT_MM OUT.svg OUT.pdf
#include <cstdio>
#include <string>

#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "report/label.h"

// The system's font list is kept until the end of the process; a sanitizer calls that a leak.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libfontconfig\n"; }

using namespace pinproof;

namespace {

inspection::Verdict verdict_of(const std::string& word) {
  for (const auto verdict :
       {inspection::Verdict::accept, inspection::Verdict::reject, inspection::Verdict::hold})
    if (word == name_of(verdict)) return verdict;
  throw Error(Fault::usage, "verdict \"" + word + "\": accept, reject or hold is wanted");
}

int write(char** arguments) {
  report::LabelCase one{.id = arguments[1],
                        .serial = arguments[2],
                        .lot = arguments[3],
                        .profile = "six-speed, 20 pins",
                        .verdict = verdict_of(arguments[4]),
                        .level = inspection::Level::full,
                        .date = "2024-05-17",
                        .overridden_by = {}};
  if (one.verdict == inspection::Verdict::hold) one.overridden_by = "A. Smith";
  const report::LabelSize size{parse_number(arguments[5]).value_or(0),
                               parse_number(arguments[6]).value_or(0)};
  write_file(arguments[7], report::label_svg(one, size));
  write_file(arguments[8], report::label_pdf(one, size));
  std::fputs(report::label_text(one).c_str(), stdout);
  return 0;
}

}  // namespace

int main(int count, char** arguments) {
  if (count != 9) {
    std::fputs("label_write ID SERIAL LOT VERDICT WIDTH_MM HEIGHT_MM OUT.svg OUT.pdf\n", stderr);
    return 3;
  }
  try {
    return write(arguments);
  } catch (const Error& e) {
    std::fprintf(stderr, "%s\n", e.what());
    return exit_code(e.fault());
  }
}
