#include "campaign/rig.h"

#include <algorithm>
#include <optional>
#include <stop_token>
#include <utility>

#include "bench/console.h"
#include "hand/technician.h"
#include "inspection/run/run.h"
#include "paths.h"
#include "quantity/text.h"
#include "scpi/instruments.h"
#include "simulated/server.h"

namespace pinproof::campaign {
namespace {

constexpr int kLooks = 60;      // at a reading that does not settle, before it is given up
constexpr double kDwell_s = 0;  // samples settle a reading here: time does not pass

// Lifts the probes, puts them on, looks twice at what he did not expect, and reads the thermometer.
class Hands final : public bench::Console {
 public:
  Hands(simulated::SimulatedBench& bench, const profile::Profile& profile)
      : bench_(bench), profile_(profile) {}

  void touch(const bench::ProbePair& pair) override {
    looks_ = 0;
    if (pair.where == bench::ProbePair::Where::stay) return;
    bench_.probes({}, {});
    if (pair.where != bench::ProbePair::Where::apart) next_ = pair;
  }
  void held(const bench::ProbesHeld& held) override { grip_ = held.grip; }
  void took(const bench::ProbesHeld&) override {}
  void task(const bench::HandTask& task) override { task_ = task; }
  void task_waits(const bench::HandTask&) override {}
  void say(const std::string&) override {}
  void live(const std::string&) override {}
  void beep() override {}
  void forget_keys() override {}

  std::optional<bench::KeyPress> key(Duration, const bench::Patience&) override {
    if (const auto task = std::exchange(task_, std::nullopt)) return perform(*task);
    if (const auto pair = std::exchange(next_, std::nullopt)) {
      bench_.probes(pair->red, pair->black);
      looks_ = 0;
      return std::nullopt;
    }
    ++looks_;
    const bool sure = grip_ == bench::Grip::open || grip_ == bench::Grip::open_expected ||
                      grip_ == bench::Grip::unexpected;
    if (sure && looks_ > 2) return looks_ = 0, bench::KeyPress::take;
    if (looks_ > kLooks) return looks_ = 0, bench::KeyPress::skip;
    return std::nullopt;
  }

  std::string ask(const std::string& question, const bench::Patience&) override {
    if (!question.starts_with("Temperature")) return "the reading does not settle";
    return format_si(bench_.ambient_celsius(), Unit::none, 3);
  }

 private:
  bench::KeyPress perform(const bench::HandTask& task) {
    for (std::size_t p = 0; profile_.lever && p < profile_.lever->positions.size(); ++p)
      if (task.what == "Move the lever to " + profile_.lever->positions[p].name + ".")
        return bench_.lever(p), bench::KeyPress::take;
    if (task.kind == "venting") return bench_.air({}, 0), bench::KeyPress::take;
    if (task.kind == "air tests") return air(task.what);
    return bench::KeyPress::skip;
  }

  // "Apply 624 kPa (90.5 psi) of air to E1 and hold it there."
  bench::KeyPress air(const std::string& what) {
    std::vector<std::string> elements;
    for (const profile::Part& part : profile_.parts) {
      if (!part.pressure_switch()) continue;
      const std::string& element = part.pressure_switch()->element;
      const auto to = what.find(" to " + element + " and hold");
      if (to != std::string::npos &&
          std::find(elements.begin(), elements.end(), element) == elements.end())
        elements.push_back(element);
    }
    bench_.air(elements, inspection::test_pressure_Pa(profile_, elements));
    return bench::KeyPress::take;
  }

  simulated::SimulatedBench& bench_;
  const profile::Profile& profile_;
  std::optional<bench::ProbePair> next_;  // where the probes are on their way to
  std::optional<bench::HandTask> task_;
  bench::Grip grip_ = bench::Grip::moving;
  int looks_ = 0;
};

simulated::SimulationOptions options_of(const Setting& setting, const std::string& dialects) {
  simulated::SimulationOptions out;
  out.profile = *setting.profile;
  out.seed = setting.seed;
  out.faults = setting.faults;
  out.dialect_folder = dialects;
  out.bench_by = setting.means == Means::hand ? "hand" : "matrix";
  return out;
}

record::Header header_of(const Setting& setting, const bench::Description& bench) {
  record::Header out;
  out.profile_name = setting.profile->name;
  out.profile_hash = setting.profile->hash;
  out.bench_name = bench.name;
  out.full = setting.full && setting.means == Means::relays;
  out.reference = bench.fixture.reference;
  out.high_reference = bench.fixture.high_reference;
  out.thermometer_u = bench.thermometer_u_K;
  return out;
}

bool is_late(const std::string& fault) { return fault.starts_with("bench: link-delay"); }

}  // namespace

std::string_view name_of(Means means) { return means == Means::hand ? "by hand" : "by relays"; }

profile::Profile load(const std::string& name) {
  return profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json");
}

Ended inspect(const Setting& setting) {
  const std::string dialects = pinproof::tests::source_dir() + "/drivers/dialects";
  simulated::SimulatedBench simulated(options_of(setting, dialects));
  simulated.start();
  auto bench = bench::parse_description(simulated.bench_file(), "bench.json");
  bench.fixture.dwell_s = kDwell_s;
  bench.fixture.kelvin = setting.means == Means::hand;
  bench::Instruments instruments;
  // Nobody waits for what will not come; a late answer still comes in time.
  const bool late = std::any_of(setting.faults.begin(), setting.faults.end(), is_late);
  scpi::install_instruments(bench, dialects, bench::Patience(Duration{late ? 5.0 : 0.5}),
                            instruments);
  Hands hands(simulated, *setting.profile);
  if (setting.means == Means::hand)
    hand::install(bench, hands,
                  {[](const std::string& node) { return node; },
                   [](const std::string&, const std::string&) { return std::string(); }},
                  instruments);
  record::Record record;
  record.header = header_of(setting, bench);
  const std::stop_source stop;
  inspection::RunOptions run;
  run.profile = setting.profile;
  run.bench = &bench;
  run.instruments = &instruments;
  run.full = record.header.full;
  run.stop =
      stop.get_token();  // a run that nobody can stop is on its way out: no hand is waited for
  run.now_s = [] { return 0.0; };
  run.wait = [](double) {};
  run.answer_s = late ? 5 : 0.5;
  inspection::run_inspection(run, record);
  Ended out;
  out.judgement = inspection::judge(*setting.profile, record);
  out.exit_code = inspection::exit_code(out.judgement, record);
  for (const record::Event& event : record.events)
    if (const auto* trouble = std::get_if<record::BenchTrouble>(&event))
      out.trouble = trouble->what;
  return out;
}

std::string first_trouble(const Ended& ended) {
  if (!ended.trouble.empty()) return ended.trouble;
  for (const auto& r : ended.judgement.results)
    if (r.outcome != inspection::Outcome::pass && r.required)
      return std::string(inspection::name_of(r.outcome)) + ": " + r.title + ": " + r.text;
  return ended.judgement.why;
}

}  // namespace pinproof::campaign
