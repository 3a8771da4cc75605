#include "app/progress.h"

#include <unistd.h>

#include <cstdio>
#include <string>

namespace pinproof::app {
namespace {

struct Describe {
  std::string operator()(const record::Reading& e) const {
    return e.key.check + " " + e.key.subject + " " + e.key.role;
  }
  std::string operator()(const record::Capture& e) const {
    return e.key.check + " " + e.key.subject;
  }
  std::string operator()(const record::Skipped& e) const {
    return e.key.check + " " + e.key.subject + " skipped";
  }
  std::string operator()(const record::BenchTrouble&) const { return "bench fault"; }
  std::string operator()(const record::Finished&) const { return "done"; }
  std::string operator()(const record::Resumed&) const { return "going on"; }
};

}  // namespace

Progress::Progress(bool wanted) : terminal_(wanted && ::isatty(STDERR_FILENO) == 1) {}

void Progress::on_event(const record::Event& event) {
  ++count_;
  if (!terminal_) return;
  std::string line = std::to_string(count_) + "  " + std::visit(Describe{}, event);
  if (line.size() > 76) line.resize(76);
  std::fprintf(stderr, "\r\033[K%s", line.c_str());
  std::fflush(stderr);
}

void Progress::clear() {
  if (terminal_) std::fputs("\r\033[K", stderr);
}

}  // namespace pinproof::app
