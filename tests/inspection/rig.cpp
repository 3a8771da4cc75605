#include "inspection/rig.h"

#include "paths.h"
#include "profile/load.h"
#include "scpi/instruments.h"
#include "simulated/server.h"

namespace pinproof::tests {

profile::Profile load(const std::string& name) {
  return profile::load_profile(source_dir() + "/profiles/" + name + ".json");
}

Inspected inspect(const profile::Profile& profile, std::uint64_t seed,
                  std::vector<std::string> faults, bool full,
                  const std::function<void(bench::Instruments&)>& dress) {
  const std::string dialects = source_dir() + "/drivers/dialects";
  simulated::SimulatedBench simulated({.profile = profile,
                                       .seed = seed,
                                       .faults = std::move(faults),
                                       .speed = 0,
                                       .first_port = 0,
                                       .dialect_folder = dialects});
  simulated.start();
  auto bench = bench::parse_description(simulated.bench_file(), "bench.json");
  bench::Instruments instruments;
  scpi::install_instruments(bench, dialects, bench::Patience(Duration{5}), instruments);
  if (dress) dress(instruments);
  Inspected out;
  out.record.header.profile_name = profile.name;
  out.record.header.profile_hash = profile.hash;
  out.record.header.bench_name = bench.name;
  out.record.header.full = full;
  out.record.header.reference = bench.fixture.reference;
  out.record.header.high_reference = bench.fixture.high_reference;
  out.record.header.thermometer_u = bench.thermometer_u_K;
  out.record.header.bench_clamp_V = bench.fixture.clamp_V;
  inspection::RunOptions run;
  run.profile = &profile;
  run.bench = &bench;
  run.instruments = &instruments;
  run.full = full;
  run.now_s = [] { return 0.0; };
  run.wait = [](double) {};
  inspection::run_inspection(run, out.record);
  judge(profile, out);
  return out;
}

void judge(const profile::Profile& profile, Inspected& pack) {
  pack.judgement = inspection::judge(profile, pack.record);
  pack.exit_code = inspection::exit_code(pack.judgement, pack.record);
}

}  // namespace pinproof::tests
