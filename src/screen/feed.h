// What browsers are told: a log of which no reader misses a line, and slots of which only the
// newest value counts. Each reader has a place of its own in it, so a slow one costs nobody
// anything.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

namespace pinproof::screen {

class Feed {
 public:
  /// Where one reader stands.
  struct ReaderPlace {
    std::string epoch;
    std::uint64_t next = 0;                      // of the log
    std::map<std::string, std::uint64_t> slots;  // the version that it has seen
  };

  /// The log of one run holds at most so many bytes; beyond, its oldest lines go, and a reader who
  /// still wanted them is told to start over.
  explicit Feed(std::size_t most_bytes = std::size_t{32} << 20);

  /// A new run: the log and the slots named here are empty again.
  void begin(const std::vector<std::string>& slots);
  /// `data` is one line of JSON.
  void add(std::string_view name, std::string data);
  void set(std::string_view slot, std::string data);

  /// Where a reader goes on who has this id (Last-Event-ID) last; an empty one starts at the top.
  static ReaderPlace after(std::string_view id);
  /// What this reader does not have yet, as text/event-stream: lines of the log, about `at_most`
  /// bytes of them (one at least), then all slots that are new to him; empty where nothing is new.
  /// `event: reset` comes first where the log does not go on from what he has, so to a newcomer
  /// too: a page may ask anew by itself and hold an old run.
  std::string take(ReaderPlace& place, std::size_t at_most) const;

  /// Called after every change, on the thread that made it, outside the lock. One listener.
  void on_change(std::function<void()> listener);

 private:
  struct LoggedLine {
    std::string name, data;
  };
  struct Slot {
    std::string data;
    std::uint64_t version = 0;
  };
  void changed();
  void line_up(ReaderPlace& place, std::string& out) const;

  mutable std::mutex mutex_;
  std::size_t most_bytes_, bytes_ = 0;
  std::string epoch_;
  std::string born_;  // differs from one program run to the next
  std::uint64_t runs_ = 0;
  std::uint64_t first_ = 0;  // number of the oldest line kept
  std::deque<LoggedLine> log_;
  std::map<std::string, Slot, std::less<>> slots_;
  std::uint64_t versions_ = 0;
  std::function<void()> listener_;
};

}  // namespace pinproof::screen
