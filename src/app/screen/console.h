// The technician at the live screen: what the bench by hand asks goes to the browsers, what the
// one that drives answers comes back.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "bench/console.h"
#include "screen/answers.h"
#include "screen/feed.h"
#include "screen/teller.h"

namespace pinproof::app {

/// A pair of hands that does what is asked, for the demo. Called on the run's thread, before the
/// next reading.
class Helper {
 public:
  virtual ~Helper() = default;
  virtual void touch(const bench::ProbePair& pair) = 0;
  /// True where it has been done: nobody need confirm it.
  virtual bool task(const bench::HandTask& task) = 0;
  /// Whether what the meter shows may be taken though it is not as expected.
  virtual bool takes(bench::Grip grip) = 0;
  /// An answer in words; empty: a person is asked.
  virtual std::string ask(const std::string& question) = 0;
};

/// What a run and its console share; outlives both.
struct Stage {
  screen::Feed& feed;
  screen::Answers& answers;
  screen::Teller* teller = nullptr;  ///< while there is one
  Helper* helper = nullptr;
};

std::unique_ptr<bench::Console> screen_console(Stage& stage);

/// "CAUTION: ..." at the beginning of a text, and the rest.
struct Cautioned {
  std::string caution, text;
};
Cautioned cautioned(const std::string& what);

}  // namespace pinproof::app
