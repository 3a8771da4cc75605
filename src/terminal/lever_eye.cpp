#include "terminal/lever_eye.h"

#include <unistd.h>

#include <cstdio>

namespace pinproof::terminal {
namespace {

class TerminalEye final : public session::LeverEye {
 public:
  void move(const std::string& position) override {
    std::fprintf(stderr, "%sMove the lever to %s, and leave it there.\n", live_ ? kErase : "",
                 position.c_str());
  }
  void move_freely(const Path& path) override {
    std::fprintf(
        stderr,
        "Start in %s, move the lever to %s and back, and stop for %.0f s in each position.\n"
        "It ends when the lever has stood still for %.0f s.\n",
        path.first.c_str(), path.last.c_str(), path.stop_s, path.rest_s);
  }
  void look(const Look& look) override {
    if (!live_) return;
    const auto read_as = look.code->decode(look.word);
    std::string reads = read_as.empty() ? "no code" : "";
    for (const std::size_t p : read_as)
      reads += (reads.empty() ? "" : " or ") + look.code->positions[p];
    const std::string line =
        "  " + look.beside + "  lines" + session::bits_text(look) + "  reads " + reads;
    std::fprintf(stderr, "%s%.76s", kErase, line.c_str());
    std::fflush(stderr);
  }
  void end() override {
    if (live_) std::fputs(kErase, stderr);
  }

 private:
  static constexpr const char* kErase = "\r\033[K";
  const bool live_ = ::isatty(STDERR_FILENO) == 1;
};

}  // namespace

std::unique_ptr<session::LeverEye> lever_eye() { return std::make_unique<TerminalEye>(); }

}  // namespace pinproof::terminal
