#include "inspection/run/run.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <set>

#include "inspection/checks/check.h"
#include "inspection/run/handling.h"
#include "inspection/run/pace.h"
#include "quantity/error.h"

namespace pinproof::inspection {
namespace {

using findings::Ending;

class InspectionRun {
 public:
  InspectionRun(const RunOptions& options, record::Record& record)
      : options_(options), record_(record), handling_(options) {
    if (!options.resumed) return;
    for (const record::Event& event : record.events) remember(event);
    handling_.assume_pulsed(record);
  }

  void all() {
    try {
      const Capabilities can = capabilities_of(*options_.bench, *options_.instruments);
      Plan plan = make_plan(*options_.profile, can, options_.full && can.drive);
      if (options_.only_bench)
        std::erase_if(plan.steps, [](const Step& s) {
          return s.phase != Phase::bench_before && s.phase != Phase::bench_after;
        });
      for (auto& skip : plan.skipped)
        if (!answered_.contains(skip.key)) emit(std::move(skip));
      of_ = plan.steps.size();
      const auto last = std::find_if(plan.steps.begin(), plan.steps.end(),
                                     [](const Step& s) { return s.phase == Phase::bench_after; });
      take(plan.steps.begin(), last);
      if (bench_failed()) {
        handling_.make_safe();
        return finish(Ending::bench_unproven, "the bench did not pass its self-check");
      }
      Plan more = options_.only_bench ? Plan{} : make_follow_up(*options_.profile, can, record_);
      of_ += more.steps.size();
      take(more.steps.begin(), more.steps.end());
      take(last, plan.steps.end());
      handling_.make_safe();
      finish(Ending::complete, "");
    } catch (const Error& e) {
      stop_for(e);
    }
  }

 private:
  using Iterator = std::vector<Step>::iterator;

  void remember(const record::Event& event) {
    if (const auto* reading = std::get_if<record::Reading>(&event)) answered_.insert(reading->key);
    if (const auto* capture = std::get_if<record::PulseCapture>(&event))
      answered_.insert(capture->key);
    const auto* skipped = std::get_if<record::Skipped>(&event);
    if (skipped && skipped->why == findings::SkipReason::taken_back) answered_.erase(skipped->key);
    if (skipped && skipped->why != findings::SkipReason::taken_back) answered_.insert(skipped->key);
  }

  // Before the run was cut off. The bench and the temperature may have changed since.
  bool answered(const Step& step) const {
    return step.phase != Phase::bench_before && step.phase != Phase::bench_after &&
           !std::holds_alternative<TemperatureStep>(step.action) && answered_.contains(step.key);
  }

  void emit(record::Event event) {
    record_.events.push_back(std::move(event));
    for (record::Listener* listener : options_.listeners) listener->on_event(record_.events.back());
  }

  void take(Iterator from, Iterator to) {
    std::vector<Iterator> done;  // what was read, for a person who wants to go back
    for (Iterator step = from; step != to;) {
      if (answered(*step)) {
        ++step, ++behind_;
        continue;
      }
      // The self-check comes first and must hold before the pack is touched.
      if (step->phase != Phase::bench_before && !checked_) {
        checked_ = true;
        if (bench_failed()) return;
      }
      now_ = step->key;
      look_ahead(*step, step, to);
      try {
        if (take(*step)) done.push_back(step);
        pace_.took(*step);
        ++step, ++behind_;
      } catch (const bench::Detour& detour) {
        if (detour.kind() == bench::DetourKind::skip) {
          emit(record::Skipped{step->key, detour.reason()});
          ++step, ++behind_;
        } else if (!done.empty()) {
          step = done.back();
          done.pop_back();
          --behind_;
          take_back(*step);
        }
      }
    }
  }

  void look_ahead(const Step& step, Iterator from, Iterator to) {
    pace_.begin();
    if (options_.watchers.empty()) return;
    const Ahead ahead{&step, behind_, of_, pace_.left_s(std::span<const Step>(from, to))};
    for (Watcher* watcher : options_.watchers) watcher->on_step(ahead);
  }

  // False where the step was left out.
  bool take(const Step& step) {
    if (options_.stop.stop_requested()) throw Error(Fault::aborted, "stopped");
    if (step.skip_if)
      if (auto reason = step.skip_if(record_))
        return emit(record::Skipped{step.key, *std::move(reason)}), false;
    const record::Condition condition =
        step.phase == Phase::bench_before || step.phase == Phase::bench_after
            ? record::Condition{}
            : handling_.reach(step.state);
    if (const auto* ohm = std::get_if<OhmStep>(&step.action)) {
      record::Reading reading = again(step, *ohm);
      if (reading.from.empty()) reading = handling_.measure().ohms(step.key, *ohm, condition);
      keep(step, reading);
    } else if (const auto* drive = std::get_if<DriveStep>(&step.action)) {
      emit(handling_.drive(step.key, *drive, condition));
    } else {
      emit(handling_.measure().celsius(step.key));
    }
    return true;
  }

  // What a person has just read on a pair serves every check that asks for that
  // pair in the same phase and state. Relays read it again: that costs nothing.
  record::Reading again(const Step& step, const OhmStep& ohm) const {
    for (const auto& [other, reading] : read_) {
      if (other->key == step.key || !one_reading(*other, step) || reading.repeats < ohm.repeats)
        continue;
      record::Reading out = reading;
      out.key = step.key;
      return out;
    }
    return {};
  }

  bool one_reading(const Step& a, const Step& b) const {
    const bench::Paths* paths = options_.instruments->paths.get();
    const auto* one = std::get_if<OhmStep>(&a.action);
    const auto* other = std::get_if<OhmStep>(&b.action);
    return paths && !paths->can_tie() && one && other && a.phase == b.phase && a.state == b.state &&
           one->between == other->between;
  }

  void keep(const Step& step, record::Reading reading) {
    read_.emplace_back(&step, reading);
    emit(reading);
    // Every check that had the old reading of this pair gets the new one.
    for (auto other = taken_back_.begin(); other != taken_back_.end();) {
      const bool same = (*other)->key == step.key;
      const bool serves = !same && one_reading(**other, step) &&
                          reading.repeats >= std::get<OhmStep>((*other)->action).repeats;
      if (serves) {
        reading.key = (*other)->key;
        emit(reading);
      }
      other = same || serves ? taken_back_.erase(other) : other + 1;
    }
  }

  // The record keeps the old reading, and that it was taken back: if the run is cut off now,
  // nothing else tells that it does not count. What it served beside this check goes with it.
  void take_back(const Step& step) {
    std::set<record::Key> gone{step.key};
    for (const auto& [other, reading] : read_)
      if (one_reading(*other, step) && gone.insert(other->key).second) taken_back_.push_back(other);
    for (const record::Key& key : gone)
      emit(record::Skipped{key, "taken back, to be read again", findings::SkipReason::taken_back});
    // A pair that is to be read once more is not taken from memory.
    const auto* ohm = std::get_if<OhmStep>(&step.action);
    std::erase_if(read_, [&](const auto& one) {
      return ohm && std::get<OhmStep>(one.first->action).between == ohm->between;
    });
  }

  bool bench_failed() const {
    Judgement judgement;
    const Evidence evidence(*options_.profile, record_);
    kBenchCheck.judge(evidence, judgement);
    return std::any_of(judgement.results.begin(), judgement.results.end(), [](const Result& r) {
      return r.outcome == Outcome::bench_fault && !r.after;
    });
  }

  void stop_for(const Error& error) {
    const std::string unsafe = handling_.make_safe_after_trouble();
    if (error.fault() == Fault::aborted) {
      finish(Ending::stopped, "stopped by hand" + unsafe);
      if (unsafe.empty()) throw error;
      throw Error(Fault::bench, std::string(error.what()) + unsafe);
    }
    emit(record::BenchTrouble{now_ ? *now_ : record::Key{}, error.what() + unsafe});
    finish(Ending::bench_failed, "the bench failed: " + std::string(error.what()) + unsafe);
  }

  void finish(Ending ending, std::string why) { emit(record::Finished{ending, std::move(why)}); }

  const RunOptions& options_;
  record::Record& record_;
  Handling handling_;
  std::optional<record::Key> now_;  // a copy: the plan is gone by the time that its trouble is told
  bool checked_ = false;
  Pace pace_;
  std::size_t behind_ = 0, of_ = 0;
  std::set<record::Key> answered_;                             // before the run was cut off
  std::vector<std::pair<const Step*, record::Reading>> read_;  // steps outlive the run
  std::vector<const Step*> taken_back_;  // that had a reading of a pair that is read again
};

}  // namespace

Capabilities capabilities_of(const bench::Description& bench,
                             const bench::Instruments& instruments) {
  Capabilities can;
  can.tie = instruments.paths && instruments.paths->can_tie();
  can.drive = instruments.supply && instruments.digitiser && instruments.paths &&
              instruments.paths->can_drive();
  can.lever = instruments.actuator != nullptr;
  can.celsius = instruments.meter && instruments.meter->can_celsius() && bench.thermometer_u_K > 0;
  can.reference = bench.fixture.reference.has_value();
  can.high_reference = bench.fixture.high_reference.has_value();
  if (can.tie)
    for (const auto& [row, number] : bench.fixture.rows) can.rows.push_back(row);
  if (const auto* supply = bench.find("supply")) {
    can.supply_max_V = supply->max_voltage_V;
    can.supply_max_A = supply->max_current_A;
  }
  return can;
}

void run_inspection(const RunOptions& options, record::Record& record) {
  InspectionRun run(options, record);
  run.all();
}

}  // namespace pinproof::inspection
