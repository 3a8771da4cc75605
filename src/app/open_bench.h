// A bench file turned into instruments: which driver serves which, what is
// written down of their dialogue, and who guards the supply.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>

#include "bench/console.h"
#include "bench/description.h"
#include "bench/journal.h"
#include "bench/ports.h"
#include "profile/profile.h"
#include "session/bench.h"

namespace CLI {
class App;
}

namespace pinproof::link {
class Link;
}
namespace pinproof::scpi {
struct LinkWanted;
}

namespace pinproof::app {

/// What every command that opens a bench lets one choose.
struct BenchOptions {
  std::string bench, dialects, record_dialogue, replay_dialogue;
  std::optional<double> celsius;  ///< beside the pack, read by a person
  bool person = false;            ///< somebody plugs and warms when asked to on the terminal
  /// Somebody moves lever and air when asked to, where the bench file says "hand" for them.
  bool hands = true;
  /// Who is asked and how, and what ends the work: the terminal and its signals where not set.
  std::function<std::unique_ptr<bench::Console>()> console;
  std::optional<std::stop_token> stop;
  void add(CLI::App& app, bool required);
};

class OpenBench final : public session::Bench {
 public:
  /// Opens all instruments. `profile` gives a person the names of the pins; null:
  /// no pack is on this bench. Throws Error.
  /// `asks_a_person` false: nothing will be measured, so no terminal is needed.
  OpenBench(const BenchOptions& options, const profile::Profile* profile,
            bool asks_a_person = true);
  ~OpenBench() override;
  OpenBench(const OpenBench&) = delete;
  OpenBench& operator=(const OpenBench&) = delete;

  const bench::Description& description() const override { return description_; }
  bench::Instruments& instruments() override { return instruments_; }
  std::function<double()> now_s() const override;
  std::function<void(double)> wait() const override;
  std::stop_token stop() const override { return stop_; }

 private:
  void install(const BenchOptions& options, const profile::Profile* profile, bool asks_a_person);
  std::unique_ptr<link::Link> line_to(const scpi::LinkWanted& wanted);
  void record_hands(bool probes);
  void install_hand(const profile::Profile* profile);
  void install_helpers(const BenchOptions& options);
  bool moved_by_hand(const BenchOptions& options) const;
  void replay(const BenchOptions& options);

  std::stop_token stop_;
  bench::Description description_;
  std::unique_ptr<bench::JournalWriter> writer_;
  std::unique_ptr<bench::JournalReader> reader_;
  std::unique_ptr<bench::Console> console_;
  bench::Instruments instruments_;  // last: they use the others
};

/// Opens the bench of these options, which outlive what is returned.
session::BenchOpener opener(const BenchOptions& options);

/// How pins are called and drawn for a person.
std::string pin_text(const profile::Profile& profile, const std::string& node);
std::string face_text(const profile::Profile& profile, const std::string& high,
                      const std::string& low);

}  // namespace pinproof::app
