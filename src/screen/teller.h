// Tells the browsers of a run while it goes on. Readings go out on the run's own thread, at once
// and without work; what they mean is judged on another, so that no waveform fit holds up the
// bench.
#pragma once

#include <condition_variable>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "bench/description.h"
#include "inspection/judge/following.h"
#include "inspection/run/run.h"
#include "record/record.h"
#include "screen/answers.h"
#include "screen/feed.h"
#include "screen/messages.h"

namespace pinproof::screen {

class Teller final : public record::Listener, public inspection::Watcher {
 public:
  /// All outlive it. `judges` false: a diagnosis, whose readings are no inspection's.
  Teller(Feed& feed, Answers& answers, const profile::Profile& profile,
         const bench::Description& bench, record::Header header, bool judges);
  ~Teller() override;
  Teller(const Teller&) = delete;
  Teller& operator=(const Teller&) = delete;

  void on_event(const record::Event& event) override;
  void on_step(const inspection::Ahead& ahead) override;
  /// What was told and measured before this run took it up.
  void catch_up(const record::Record& record);
  /// Nobody need be shown what is connected: he is asked to do it.
  bool by_hand = false;

  /// Relays are connected to this now, or are about to be.
  void look(const std::string& title, const std::string& text, const bench::Connection& between,
            bool driven);
  /// Judged of what the meter shows now for the step that is being taken; told as "live".
  void show_live(LiveTold live, const bench::ShownOhms& shown);
  /// Waits until everything has been judged and told, then tells the verdict.
  void verdict(const VerdictTold& told);

 private:
  struct ShownNow {
    LiveTold live;
    bench::ShownOhms shown;
    inspection::Step step;
    record::Condition condition;
  };
  void work();
  void judge(std::vector<record::Event> events);
  void tell_live(ShownNow shown);

  Feed& feed_;
  Answers& answers_;
  const profile::Profile& profile_;
  const bench::Description& bench_;
  bool judges_;
  inspection::Following following_;
  std::optional<inspection::Step> step_;

  std::set<findings::ResultId> untold_;  // results that were left out so far; of the judging thread

  std::mutex mutex_;
  std::condition_variable wake_, idle_;
  std::vector<record::Event> waiting_;
  std::optional<ShownNow> shown_;
  bool busy_ = false, end_ = false;
  std::thread thread_;  // last: it uses the others
};

}  // namespace pinproof::screen
