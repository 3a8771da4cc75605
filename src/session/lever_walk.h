// The lever moved through its positions on a bench, and what its contacts read there.
#pragma once

#include <string>
#include <vector>

#include "inspection/run/handling.h"
#include "lever/study.h"
#include "record/record.h"

namespace pinproof::session {

/// Who watches the lever move: a line on the terminal, or the screen.
class LeverEye {
 public:
  virtual ~LeverEye() = default;
  /// A person is to move the lever there and leave it.
  virtual void move(const std::string& position) = 0;
  /// Or as he likes, from the first to the last and back, with a stop of so long in each position;
  /// it ends when the lever rests for so long.
  struct Path {
    std::string first, last;
    double stop_s = 0, rest_s = 0;
  };
  virtual void move_freely(const Path& path) = 0;
  struct Look {
    const lever::RangeCode* code = nullptr;
    lever::Word word;
    lever::Mask weak = 0;      ///< neither open nor closed
    std::string beside;        ///< "D", "D on the way back", "moves"
    std::size_t position = 0;  ///< asked for; beyond the last where the lever moves freely
    bool moving = false;
  };
  virtual void look(const Look& look) = 0;
  virtual void end() = 0;
};

/// "10?1" by columns; a gap before what is no line.
std::string bits_text(const LeverEye::Look& look);

class LeverWalk {
 public:
  /// All must outlive it. `options` as for an inspection; `plugged`: a harness is between.
  LeverWalk(const lever::RangeCode& code, const std::vector<lever::Tap>& taps,
            const inspection::RunOptions& options, record::Record& record, bool plugged,
            LeverEye& eye);

  /// Every contact in every position, by relays position by position. Throws Error.
  lever::RemarkedTaps by_relays(bool both_ways);
  /// Pin by pin, so that each is touched once; every other one on the way back. Throws Error.
  lever::RemarkedTaps by_hand(bool both_ways);
  /// Somebody moves the lever as he likes, from the first position to the last and back; ends when
  /// it has stood still for `rest_s`, or twice the stop that these instruments need. Throws Error.
  std::vector<lever::LeverStop> freely(double rest_s);

  void make_safe() { handling_.make_safe(); }
  std::string make_safe_after_trouble() { return handling_.make_safe_after_trouble(); }

 private:
  struct SettledLook {
    lever::Word word;
    lever::Mask weak = 0;
    std::vector<record::Reading> readings;
    /// They read the same, whatever the digits.
    friend bool operator==(const SettledLook& a, const SettledLook& b) {
      return a.word == b.word && a.weak == b.weak;
    }
  };
  SettledLook look(const record::Condition& condition, const lever::Word& expected,
                   bool quick = false);
  record::Reading read(const lever::Tap& tap, const record::Condition& condition,
                       const std::string& way, bool closed, bool quick);
  double stop_s();
  record::Condition move_to(std::size_t position);
  void settle(std::size_t position, const char* way);
  void watch(const record::Condition& condition, std::size_t position, const char* way,
             const SettledLook& stood);
  void keep(const SettledLook& seen);
  void show(const SettledLook& seen, const std::string& beside, std::size_t position,
            bool moving = false) const;
  void add(const record::Reading& reading);

  const lever::RangeCode& code_;
  const std::vector<lever::Tap>& taps_;
  const inspection::RunOptions& options_;
  record::Record& record_;
  inspection::Handling handling_;
  bool plugged_;
  LeverEye& eye_;
};

}  // namespace pinproof::session
