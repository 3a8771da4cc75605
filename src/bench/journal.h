// The dialogue with the instruments as a file of lines, one exchange a line: kept
// to reproduce somebody's trouble without their bench.
#pragma once

#include <chrono>
#include <cstdio>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "quantity/error.h"

namespace pinproof::bench {

/// One exchange: who was asked what, and what came of it.
struct Exchange {
  double at_s = 0;     ///< since the start
  std::string who;     ///< "meter tcp://127.0.0.1:5025"
  std::string did;     ///< "write", "read line", "connect meter", ...
  std::string asked;   ///< bytes or words
  std::string answer;  ///< bytes or words; what was wrong where `fault` is set
  std::optional<Fault> fault;
};

class JournalWriter {
 public:
  /// Throws Error(Fault::usage) when the file cannot be made.
  explicit JournalWriter(const std::string& path);
  JournalWriter(const JournalWriter&) = delete;
  JournalWriter& operator=(const JournalWriter&) = delete;
  ~JournalWriter();
  /// Out of the program before it returns. Throws Error(Fault::bench) when the disk
  /// takes no more; once only, since what comes after is the way to safety.
  void add(Exchange exchange);

 private:
  std::string path_;
  std::FILE* file_;
  bool full_ = false;
  std::chrono::steady_clock::time_point start_;
};

class JournalReader {
 public:
  /// Throws Error(Fault::usage) naming file and line.
  explicit JournalReader(const std::string& path);
  /// The next exchange of `who`, which must be this one: otherwise Error(usage)
  /// says what the dialogue has instead. Throws the recorded error where there was one.
  std::string replay(const std::string& who, const std::string& did, const std::string& asked);
  bool knows(const std::string& who) const { return lines_.contains(who); }
  /// When the exchange replayed last happened.
  double now_s() const { return now_s_; }

 private:
  std::string path_;
  std::map<std::string, std::vector<std::pair<std::size_t, Exchange>>> lines_;  // line numbers
  std::map<std::string, std::size_t> next_;
  double now_s_ = 0;
};

}  // namespace pinproof::bench
