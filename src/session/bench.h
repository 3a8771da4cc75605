// A bench that is open, whoever opened it: what a use case asks of it.
#pragma once

#include <functional>
#include <memory>
#include <stop_token>
#include <string>
#include <vector>

#include "bench/description.h"
#include "bench/ports.h"
#include "inspection/run/run.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::session {

class Bench {
 public:
  virtual ~Bench() = default;
  virtual const bench::Description& description() const = 0;
  virtual bench::Instruments& instruments() = 0;
  /// Clock and rests of a run: the wall's, a faster simulated one's, or a kept dialogue's own.
  virtual std::function<double()> now_s() const = 0;
  virtual std::function<void(double)> wait() const = 0;
  /// What ends the work.
  virtual std::stop_token stop() const = 0;

  /// Probes are held by hand: somebody is guided at every step.
  bool by_hand() const;
  /// For a run on this bench with this pack; both must outlive it. Whoever runs may change it.
  inspection::RunOptions run_options(const profile::Profile& profile,
                                     std::vector<record::Listener*> listeners = {});
  /// Of a record that begins now.
  record::Header header(const profile::Profile& profile) const;
};

/// Opens the bench of a use case once nothing else forbids it. `profile` gives a person the names
/// of the pins, and outlives the bench. Throws Error.
using BenchOpener = std::function<std::unique_ptr<Bench>(const profile::Profile& profile)>;

/// Before and after the work: what a bench says that fails then is not believed. Throws
/// Error(bench).
void prove_bench(inspection::RunOptions run, record::Record& record);

}  // namespace pinproof::session
