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
  record::Capture drive(const record::Key& key, const DriveStep& step,
                        const record::Condition& condition, bench::Energising& energising);

 private:
  bench::Shown in_best_range(bool four_wire, double expected_ohm, double enough_ohm = INFINITY);
  void connect(const OhmStep& step, bool four_wire);
  bench::Shown first(const OhmStep& step, bool four_wire);
  double lead_null(const record::Key& key, const record::Reading& reading);
  void fill_uncertainty(record::Reading& reading, double raw,
                        const std::vector<double>& shown) const;
  void fill_accuracy(record::Capture& capture, const bench::SweepSetup& sweep) const;
  void refuse_stale(const bench::Sweep& taken, const std::string& subject);
  bench::Patience patience(double seconds) const;

  const RunOptions& options_;
  std::set<std::vector<double>> swept_;      // this run's channels that were alive
  std::optional<double> two_wire_null_ohm_;  // of this run's shorted leads
};

}  // namespace pinproof::inspection
