#include "hand/terminal.h"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstring>

#include "quantity/error.h"

namespace pinproof::hand {
namespace {

constexpr double kSlice_s = 0.05;  // how soon a stop is noticed
constexpr std::size_t kLongestLine = 200;

bench::KeyPress key_of(char c) {
  switch (c) {
    case '\r':
    case '\n':
    case ' ':
      return bench::KeyPress::take;
    case 'b':
    case 'B':
      return bench::KeyPress::back;
    case 's':
      return bench::KeyPress::skip;
    case 'S':
      return bench::KeyPress::skip_all;
    case 'r':
    case 'R':
      return bench::KeyPress::again;
    default:
      return bench::KeyPress::other;
  }
}

class Terminal final : public bench::Console {
 public:
  Terminal() {
    if (::tcgetattr(STDIN_FILENO, &before_) != 0)
      throw Error(Fault::usage,
                  "somebody is asked to do things by hand, which needs a terminal for the "
                  "keys; standard input is not one");
    termios raw = before_;
    raw.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);  // Ctrl-C stays a signal
    raw.c_cc[VMIN] = 1;
    raw.c_cc[VTIME] = 0;
    ::tcsetattr(STDIN_FILENO, TCSANOW, &raw);
    changes_ = ::isatty(STDERR_FILENO) == 1;
  }
  ~Terminal() override {
    clear();
    ::tcsetattr(STDIN_FILENO, TCSADRAIN, &before_);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;

  void say(const std::string& text) override {
    clear();
    std::fprintf(stderr, "%s\n", text.c_str());
    std::fflush(stderr);
  }

  void live(const std::string& text) override {
    if (!changes_ || text == live_) return;
    std::fprintf(stderr, "\r\033[K%s", text.c_str());
    std::fflush(stderr);
    live_ = text;
  }

  void beep() override {
    if (changes_) std::fputc('\a', stderr);
  }

  void forget_keys() override { ::tcflush(STDIN_FILENO, TCIFLUSH); }

  std::optional<bench::KeyPress> key(Duration wait, const bench::Patience& patience) override {
    const auto c = character(wait, patience);
    if (!c) return std::nullopt;
    // Arrow and function keys send several characters: none of them is a key of ours.
    if (*c == '\033') {
      while (character(Duration{0}, patience)) {
      }
      return bench::KeyPress::other;
    }
    return key_of(*c);
  }

  std::string ask(const std::string& question, const bench::Patience& patience) override {
    clear();
    forget_keys();
    std::string line;
    std::fprintf(stderr, "%s ", question.c_str());
    std::fflush(stderr);
    while (true) {
      const auto c = character(Duration{3600}, patience);
      if (!c) continue;
      if (*c == '\r' || *c == '\n') break;
      if ((*c == '\b' || *c == '\x7f') && !line.empty()) {
        line.pop_back();
        std::fputs("\b \b", stderr);
      } else if (static_cast<unsigned char>(*c) >= ' ' && *c != '\x7f' &&
                 line.size() < kLongestLine) {
        line += *c;
        std::fputc(*c, stderr);
      }
      std::fflush(stderr);
    }
    std::fputc('\n', stderr);
    return line;
  }

 private:
  void clear() {
    if (!live_.empty()) std::fputs("\r\033[K", stderr);
    live_.clear();
  }

  std::optional<char> character(Duration wait, const bench::Patience& patience) const {
    double left_s = wait.si();
    while (true) {
      if (patience.stopped()) throw Error(Fault::aborted, "stopped");
      pollfd p{STDIN_FILENO, POLLIN, 0};
      const double slice_s = std::clamp(left_s, 0.0, kSlice_s);
      if (::poll(&p, 1, static_cast<int>(slice_s * 1000)) > 0) break;
      left_s -= kSlice_s;
      if (left_s <= 0) return std::nullopt;
    }
    char c = 0;
    if (::read(STDIN_FILENO, &c, 1) == 1) return c;
    throw Error(Fault::aborted, "the terminal is gone");
  }

  termios before_{};
  bool changes_ = false;
  std::string live_;
};

}  // namespace

std::unique_ptr<bench::Console> open_terminal() { return std::make_unique<Terminal>(); }

}  // namespace pinproof::hand
