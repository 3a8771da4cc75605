// A run as a few lines: how far it is, what was read by which check, the newest reading. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "inspection/run/run.h"
#include "record/record.h"
#include "terminal/live_block.h"

namespace pinproof::terminal {

class LiveTable {
 public:
  LiveTable();
  void add(const record::Event& event);
  void look_ahead(const inspection::Ahead& ahead);
  /// For a terminal of this size; harmless, and none wider than it.
  std::vector<std::string> lines(const TerminalSize& size) const;

 private:
  /// One check; its line is there once it has something to tell.
  struct Check {
    std::string_view name, heading;
    std::size_t read = 0, skipped = 0;
    std::size_t last = 0;  ///< number of its newest event
  };
  Check* find(const std::string& name);
  void count(const record::Key& key, std::size_t Check::*what);
  std::string named(const record::Key& key) const;
  std::string bar_line(std::size_t columns) const;
  std::string check_line(const Check& check, std::size_t columns) const;
  std::vector<const Check*> shown(std::size_t rows) const;
  std::string newest_line(std::size_t columns) const;

  std::vector<Check> checks_;
  std::size_t events_ = 0, done_ = 0, of_ = 0;
  std::optional<double> left_s_;
  std::string now_;  ///< name of the check whose step is being taken
  std::string newest_name_, newest_value_, trouble_;
};

}  // namespace pinproof::terminal
