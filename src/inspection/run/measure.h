// One step on the instruments: from what they show to a reading with its
// uncertainty, or to a capture.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "bench/energise.h"
#include "inspection/checks/plan.h"
#include "record/record.h"

namespace pinproof::inspection {

struct RunOptions;

class Measure {
 public:
  explicit Measure(const RunOptions& options) : options_(options) {}

  record::Reading ohms(const record::Key& key, const OhmStep& step,
                       const record::Condition& condition);
  record::Reading celsius(const record::Key& key);
  record::PulseCapture drive(const record::Key& key, const DriveStep& step,
                             const record::Condition& condition, bench::Energising& energising);

 private:
  bench::ShownOhms in_best_range(bool four_wire, Resistance expected,
                                 Resistance enough = Resistance{INFINITY});
  void connect(const OhmStep& step, bool four_wire);
  bench::ShownOhms first(const OhmStep& step, bool four_wire);
  Resistance lead_null(const record::Reading& reading, Resistance raw);
  void fill_uncertainty(const std::string& function, const std::vector<double>& shown,
                        record::Numbers& ohms) const;
  record::Numbers beyond(const bench::ShownOhms& last) const;
  record::Numbers numbers_of(const record::Reading& reading, const bench::ShownOhms& last,
                             const std::vector<double>& shown);
  bench::SweepSetup sweep_for(const DriveStep& step) const;
  record::PulseCapture captured(const DriveStep& step, const bench::SweepSetup& sweep,
                                bench::Sweep taken) const;
  void fill_accuracy(record::PulseCapture& capture, const bench::SweepSetup& sweep) const;
  void refuse_stale(const bench::Sweep& taken, const std::string& subject);
  bench::Patience patience(double seconds) const;

  const RunOptions& options_;
  std::set<std::vector<double>> swept_;      // this run's channels that were alive
  std::optional<Resistance> two_wire_null_;  // of this run's shorted leads
};

}  // namespace pinproof::inspection
