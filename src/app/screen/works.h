// What the live screen can start: the same inspections, diagnoses and lever tests as the commands.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "app/ledgers.h"
#include "app/open_bench.h"
#include "app/screen/demo.h"
#include "screen/desk.h"
#include "session/inspecting.h"

namespace pinproof::app {

struct ScreenSetup {
  std::vector<std::string> profiles;           ///< names or files, as offered
  std::map<std::string, std::string> benches;  ///< by the name that is offered: the file
  LedgerOptions ledger;
  std::string dialects;
  bool demo = false;
};

class ScreenWorks final : public screen::Works {
 public:
  /// `feed` outlives it.
  ScreenWorks(ScreenSetup setup, screen::Feed& feed);
  ~ScreenWorks() override;

  screen::Offer offer() const;
  void check(const screen::Wish& wish) override;
  void run(const screen::Wish& wish, std::uint64_t number, screen::Answers& answers,
           const std::stop_token& stop) override;
  std::string profile(const std::string& name) override;
  std::optional<screen::Reply> page(const screen::Request& request) override;

 private:
  struct Job;
  void inspect(Job& job);
  void diagnose(Job& job);
  void lever(Job& job);
  profile::Profile load(const std::string& name) const;
  BenchOptions bench_of(const screen::Wish& wish) const;
  session::Inspection inspection_of(const screen::Wish& wish) const;

  ScreenSetup setup_;
  screen::Feed& feed_;
};

/// "/lots", "/lot", "/records", "/report/ID", "/label/ID", "/compare", "/card"; nullopt: none of
/// these. Throws Error(usage) for a record that is not there.
std::optional<screen::Reply> record_page(const LedgerOptions& ledger,
                                         const std::vector<std::string>& profiles,
                                         const screen::Request& request);

}  // namespace pinproof::app
