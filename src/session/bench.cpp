#include "session/bench.h"

#include "inspection/judge/judge.h"
#include "quantity/error.h"
#include "quantity/version.h"
#include "record/ledger.h"

namespace pinproof::session {

bool Bench::by_hand() const {
  const auto* probes = description().find("probes");
  return probes && probes->driver == "hand";
}

inspection::RunOptions Bench::run_options(const profile::Profile& profile,
                                          std::vector<record::Listener*> listeners) {
  inspection::RunOptions out;
  out.profile = &profile;
  out.bench = &description();
  out.instruments = &instruments();
  out.listeners = std::move(listeners);
  out.stop = stop();
  out.full = false;
  out.now_s = now_s();
  out.wait = wait();
  return out;
}

record::Header Bench::header(const profile::Profile& profile) const {
  record::Header out;
  out.profile_name = profile.name, out.profile_hash = profile.hash;
  out.bench_name = description().name;
  out.program = version_text();
  out.started_at = record::utc_text();
  out.reference = description().fixture.reference;
  out.high_reference = description().fixture.high_reference;
  out.thermometer_u = description().thermometer_u_K;
  out.bench_clamp_V = description().fixture.clamp_V;
  out.bench_hash = bench::fingerprint(description());
  return out;
}

void prove_bench(inspection::RunOptions run, record::Record& record) {
  run.only_bench = true;
  inspection::run_inspection(run, record);
  const auto self_check = inspection::judge(*run.profile, record);
  if (inspection::exit_code(self_check, record) == 4) throw Error(Fault::bench, self_check.why);
}

}  // namespace pinproof::session
